//! NMEA 0183 sentences.
