//! NMEA 2000 messages.
