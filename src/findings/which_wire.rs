//! Which of several wires a finding is about.

use super::Finding;
use crate::books::Books;
use crate::books::wires::{Wire, WireId};
use std::path::Path;

/// Adds to a finding on a whole wire what that wire is called, where several of its kind were recorded.
pub(super) fn name(books: &Books, finding: &mut Finding) {
    if let [wire] = finding.wires.as_slice()
        && let Some(name) = called(books, *wire)
    {
        finding.summary.push_str(&format!(", on {name}"));
    }
}

/// What a wire is called among those of its kind; nothing where it is the only one, or has no name.
fn called(books: &Books, id: WireId) -> Option<String> {
    let wire = books.wires.get(id)?;
    let others: Vec<&Wire> = books
        .wires
        .iter()
        .filter(|(other, w)| *other != id && w.kind == wire.kind && w.frames > 0)
        .map(|(_, w)| w)
        .collect();
    if others.is_empty() {
        return None;
    }
    let label = wire.label.as_deref().filter(|label| !label.trim().is_empty());
    if let Some(label) = label
        && others.iter().all(|other| other.label.as_deref() != Some(label))
    {
        return Some(label.to_owned());
    }
    let alone = others.iter().all(|other| other.recording != wire.recording || other.label != wire.label);
    let path = Path::new(&books.recordings.get(wire.recording)?.path);
    let file = path.file_name().filter(|_| alone)?.to_string_lossy();
    Some(label.map_or_else(|| file.to_string(), |label| format!("{label} of {file}")))
}

/// Whether most devices of the wire with fewer are on the other too: two recorders of one wire, or two links of one network.
pub(super) fn carry_the_same(books: &Books, one: WireId, other: WireId) -> bool {
    let on = |wire: WireId| books.inventory.iter().filter(move |(_, d)| d.wire == wire).map(|(id, _)| id);
    let (few, many) = if on(one).count() <= on(other).count() { (one, other) } else { (other, one) };
    let shared = on(few).filter(|a| on(many).any(|b| books.inventory.same(*a, b))).count();
    2 * shared > on(few).count()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::recording::{Summary, WireKind};
    use crate::report::model::Severity;

    fn summary(wires: &[(usize, Option<&str>)]) -> String {
        let mut books = Books::default();
        for file in ["logs/bow.log", "logs/helm.log"] {
            books.recordings.push(Summary { path: file.to_owned(), ..Summary::default() });
        }
        let ids: Vec<WireId> = wires
            .iter()
            .map(|(recording, label)| {
                books.wires.add(*recording, WireKind::Can, label.map(str::to_owned), None)
            })
            .collect();
        for id in &ids {
            books.wires.get_mut(*id).unwrap().frames = 1;
        }
        let mut finding = Finding::new(Severity::Fault, "It is silent").on(ids[0]);
        name(&books, &mut finding);
        finding.summary
    }

    #[test]
    fn a_wire_is_named_where_there_are_several() {
        assert_eq!(summary(&[(0, Some("can0"))]), "It is silent");
        assert_eq!(summary(&[(0, Some("can0")), (0, Some("can1"))]), "It is silent, on can0");
        assert_eq!(summary(&[(0, Some("can0")), (1, Some("can0"))]), "It is silent, on can0 of bow.log");
        assert_eq!(summary(&[(0, None), (1, None)]), "It is silent, on bow.log");
        assert_eq!(summary(&[(0, None), (0, None)]), "It is silent");
    }
}
