//! What fuzzing and the dice found, one test each, so that it is not found again.

use crate::examine::examine;
use crate::make::sentence;

/// Found by the target `recording` and by the dice (one variant of 56,000 to 58,000): the bytes were told as damaged and as cut off too, more than there were.
#[test]
fn nuls_in_a_sentence_that_is_cut_off_are_counted_once() {
    let whole = sentence("SDDPT,7.4,0.4,100").repeat(3);
    let cut = b"$SDDPT,7.4\0\0\0,0.4";
    let seen = examine(&[whole.as_bytes(), cut].concat()).unwrap();
    let summary = &seen.summaries[0];
    assert_eq!((summary.damaged_bytes, summary.truncated_bytes), (0, cut.len() as u64));
    let ended = examine(&[whole.as_bytes(), cut, b"\r\n"].concat()).unwrap();
    assert_eq!((ended.summaries[0].damaged_bytes, ended.summaries[0].truncated_bytes), (3, 0));
}
