//! What a device says of itself: PGN 126996, 126998.

use super::field::Fields;

/// PGN 126996: product information. Texts come from the device, without their fill.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ProductInformation {
    /// Version of the NMEA 2000 database, times 1000 (2100 is 2.100).
    pub database_version: Option<u16>,
    /// The manufacturer's number of the product.
    pub product_code: Option<u16>,
    /// Model.
    pub model: String,
    /// Software version.
    pub software: String,
    /// Model version.
    pub version: String,
    /// Serial code.
    pub serial: String,
    /// Certification level: 0 is A, 1 is B.
    pub certification_level: Option<u8>,
    /// Load equivalency number: what the device may draw from the bus, in steps of 50 mA.
    pub load_equivalency: Option<u8>,
}

impl ProductInformation {
    /// Reads the message; what a short one does not reach is empty.
    #[must_use]
    pub fn read(message: &[u8]) -> Self {
        let fields = Fields(message);
        let number = |start| fields.unsigned(start, 16).ok().and_then(|value| u16::try_from(value).ok());
        Self {
            database_version: number(0),
            product_code: number(16),
            model: fields.text(4, 32),
            software: fields.text(36, 32),
            version: fields.text(68, 32),
            serial: fields.text(100, 32),
            certification_level: fields.small(1056, 8),
            load_equivalency: fields.small(1064, 8),
        }
    }
}

/// PGN 126998: what the installer wrote into a device.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ConfigurationInformation {
    /// First installation description.
    pub description_1: String,
    /// Second installation description.
    pub description_2: String,
    /// Manufacturer's text.
    pub manufacturer: String,
}

impl ConfigurationInformation {
    /// Reads the message; texts after a malformed one are empty, as where they begin is not known.
    #[must_use]
    pub fn read(message: &[u8]) -> Self {
        let fields = Fields(message);
        let mut next = Some(0);
        let mut text = || {
            let read = next.and_then(|byte| fields.variable_text(byte));
            next = read.as_ref().map(|(_, end)| *end);
            read.map(|(text, _)| text).unwrap_or_default()
        };
        Self { description_1: text(), description_2: text(), manufacturer: text() }
    }
}
