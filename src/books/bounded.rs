//! Lists that never grow past a bound: recordings come from strangers.

/// Adds `item` when the list has room for it.
pub fn push<T>(list: &mut Vec<T>, max: usize, item: T) {
    if list.len() < max {
        list.push(item);
    }
}

/// Adds `item` when it does not stand in the list and the list has room for it.
pub fn note<T: PartialEq>(list: &mut Vec<T>, max: usize, item: T) {
    if !list.contains(&item) {
        push(list, max, item);
    }
}

/// The item that `is_it` picks, or a new one made by `make`; `None` when there is none and no room.
pub fn entry<T>(
    list: &mut Vec<T>,
    max: usize,
    is_it: impl FnMut(&T) -> bool,
    make: impl FnOnce() -> T,
) -> Option<&mut T> {
    let index = list.iter().position(is_it).or_else(|| {
        (list.len() < max).then(|| {
            list.push(make());
            list.len() - 1
        })
    })?;
    list.get_mut(index)
}

/// Adds `span` to the list, or lengthens the last one when it began at most `slack` seconds before.
pub fn stretch(spans: &mut Vec<crate::time::Span>, max: usize, span: crate::time::Span, slack: f64) {
    if let Some(last) = spans.last_mut()
        && span.from.since(last.to) <= slack
    {
        last.to = last.to.max(span.to);
        return;
    }
    push(spans, max, span);
}
