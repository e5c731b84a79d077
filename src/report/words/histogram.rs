//! A small histogram: one cell a bin, short intervals left.

use crate::report::model::Bin;

/// Cells that are drawn at most; finer histograms are gathered into that many.
pub const MAX_CELLS: usize = 16;

/// From nearly nothing to the fullest bin.
const BLOCKS: [char; 8] = ['▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];

/// The bins as block characters, from the first to the last that holds anything. A bin that holds one interval among
/// millions is still seen.
pub fn draw(bins: &[Bin]) -> String {
    let first = bins.iter().position(|bin| bin.count > 0).unwrap_or(bins.len());
    let last = bins.iter().rposition(|bin| bin.count > 0).map_or(first, |at| at + 1);
    let held = bins.get(first..last).unwrap_or_default();
    let gathered = held.len().div_ceil(MAX_CELLS).max(1);
    let cells: Vec<u64> = held
        .chunks(gathered)
        .map(|bins| bins.iter().fold(0, |sum: u64, b| sum.saturating_add(b.count)))
        .collect();
    let fullest = cells.iter().copied().max().unwrap_or(0).max(1) as f64;
    let block = |count: &u64| match *count {
        0 => '·',
        count => {
            let height = (count as f64 / fullest * BLOCKS.len() as f64).ceil() as usize;
            BLOCKS.get(height.saturating_sub(1)).copied().unwrap_or('█')
        }
    };
    cells.iter().map(block).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bins(counts: &[u64]) -> Vec<Bin> {
        counts.iter().map(|&count| Bin { from_s: 0.0, to_s: 0.0, count }).collect()
    }

    #[test]
    fn the_rare_is_seen_and_the_empty_ends_are_not() {
        assert_eq!(draw(&bins(&[0, 0, 8, 4, 0, 1, 0])), "█▄·▁");
        assert_eq!(draw(&bins(&[1, u64::MAX])), "▁█");
        assert_eq!(draw(&bins(&[0, 0])), "");
        assert_eq!(draw(&[]), "");
    }

    #[test]
    fn many_bins_are_gathered() {
        assert_eq!(draw(&bins(&[1; 100])).chars().count(), 15, "seven bins a cell");
        assert_eq!(draw(&bins(&[u64::MAX; 17])).chars().count(), 9);
    }
}
