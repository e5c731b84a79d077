//! The quantities that a boat file may name: those of the report.

/// Quantities that have a name of their own in the report. Others go by plain names in the same style.
pub(super) const QUANTITIES: [&str; 14] = [
    "heading",
    "position",
    "depth",
    "course-and-speed-over-ground",
    "speed-through-water",
    "wind",
    "rate-of-turn",
    "attitude",
    "rudder",
    "water-temperature",
    "voltage",
    "engine",
    "time",
    "variation",
];

/// Another quantity of the report whose name looks like a slip of one above.
const LOOKALIKE: &str = "altitude";

/// Letters that a slip of the keyboard changes at most in a name.
const fn slip(known: &str) -> usize {
    if known.len() < 6 { 1 } else { 2 }
}

/// What is wrong with a quantity's name, when something is.
pub(super) fn complaint(name: &str) -> Option<String> {
    if QUANTITIES.contains(&name) || name == LOOKALIKE {
        return None;
    }
    let plain =
        !name.is_empty() && name.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-');
    let small = name.to_ascii_lowercase();
    let near =
        QUANTITIES.iter().find(|known| distance(known, &small) <= slip(known) || is_swapped(known, &small));
    match near {
        Some(near) => Some(format!("write {near}")),
        None if plain => None,
        None => Some(format!(
            "write one of {}, or another quantity as the report's list of sources names it in JSON",
            QUANTITIES.join(", ")
        )),
    }
}

/// Whether two neighbouring letters changed places.
fn is_swapped(a: &str, b: &str) -> bool {
    let apart: Vec<(usize, (u8, u8))> =
        a.bytes().zip(b.bytes()).enumerate().filter(|(_, (x, y))| x != y).collect();
    match apart.as_slice() {
        [(i, (a1, b1)), (j, (a2, b2))] => a.len() == b.len() && i + 1 == *j && a1 == b2 && a2 == b1,
        _ => false,
    }
}

/// Letters to change, add or take away to make one text of the other; long texts are not compared.
fn distance(a: &str, b: &str) -> usize {
    if a.len() > 64 || b.len() > 64 {
        return usize::MAX;
    }
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, x) in a.bytes().enumerate() {
        let mut corner = i;
        let mut left = i + 1;
        for (cell, y) in row.iter_mut().skip(1).zip(b.bytes()) {
            let best = (corner + usize::from(x != y)).min(left + 1).min(*cell + 1);
            corner = std::mem::replace(cell, best);
            left = best;
        }
        if let Some(first) = row.first_mut() {
            *first = i + 1;
        }
    }
    row.last().copied().unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slip_is_told_and_another_plain_name_is_not() {
        assert_eq!(complaint("depth"), None);
        // Every other kind of name that the messages carry and that is short or looks like one above.
        for other in [
            "humidity",
            "altitude",
            "tilt",
            "log",
            "force",
            "switch",
            "volume",
            "engine-load",
            "rudder-order",
        ] {
            assert_eq!(complaint(other), None, "{other}");
        }
        assert_eq!(complaint("deph").unwrap(), "write depth");
        assert_eq!(complaint("depht").unwrap(), "write depth");
        assert_eq!(complaint("widn").unwrap(), "write wind");
        assert_eq!(complaint("Heading").unwrap(), "write heading");
        assert!(complaint("the sea").unwrap().contains("one of heading, position"));
        assert!(complaint("").is_some());
    }

    #[test]
    fn letters_are_counted() {
        assert_eq!(distance("kitten", "sitting"), 3);
        assert_eq!(distance("", "abc"), 3);
        assert_eq!(distance("wind", "wind"), 0);
    }
}
