//! Findings: what is wrong or worth knowing, and what each kind means.

/// The page that explains one kind of finding.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Doc {
    /// Name from the catalogue.
    pub kind: &'static str,
    /// The usual severity, in words.
    pub severity: &'static str,
    /// What it means for the boat.
    pub meaning: &'static str,
    /// How it is detected.
    pub detection: &'static str,
    /// What looks alike and is something else.
    pub lookalikes: &'static str,
    /// What to check on the boat.
    pub checks: &'static str,
    /// Dangers of those checks.
    pub cautions: &'static str,
}

/// Every page, in the order of the catalogue.
const ALL: &[Doc] = &[Doc {
    kind: "duplicate-heading-source",
    severity: "fault when the two disagree by more than 3 degrees, else warning",
    meaning: "Two devices supply heading, and a display may follow either.",
    detection: "Headings of two devices are compared at the same moments.",
    lookalikes: "A gateway that repeats another device's heading.",
    checks: "Pick one heading source on every display, or switch one off.",
    cautions: "Switch the supply off before touching wiring.",
}];

/// Every kind of finding, in the order of the catalogue.
pub fn kinds() -> impl Iterator<Item = &'static str> {
    ALL.iter().map(|doc| doc.kind)
}

/// The page of one kind, or `None` for a kind that is in no catalogue.
#[must_use]
pub fn doc(kind: &str) -> Option<&'static Doc> {
    ALL.iter().find(|doc| doc.kind == kind)
}
