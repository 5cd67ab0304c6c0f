//! Many values in cells of equal width: in order from cell to cell, and within a cell once one of its values is asked for.

/// Values of a smooth distribution lie evenly enough in cells of equal width for each to hold about so many.
const IN_A_CELL: usize = 32;

/// Values in cells.
#[derive(Clone, Debug, Default)]
pub(super) struct Cells {
    /// The values of each cell together, the cells in ascending order.
    pub(super) values: Vec<f64>,
    /// How many values there are up to the end of each cell.
    ends: Vec<u32>,
    /// The cells whose values are in ascending order.
    in_order: Vec<bool>,
}

impl Cells {
    /// Puts values, none of them a NaN and fewer than 2³² of them, into cells.
    pub(super) fn of(values: Vec<f64>) -> Self {
        let (low, high) = extremes(&values);
        let cells = values.len() / IN_A_CELL;
        let per_unit = cells as f64 / (high - low);
        if cells < 2 || !(per_unit.is_finite() && per_unit > 0.0) {
            return Cells { ends: vec![values.len() as u32], values, in_order: vec![false] };
        }
        // The cast puts what is at the upper end, or by rounding beyond it, into the last cell with the others.
        let cell = |value: f64| (((value - low) * per_unit) as usize).min(cells - 1);
        let mut ends = vec![0u32; cells];
        values.iter().for_each(|value| ends[cell(*value)] += 1);
        let mut next = 0;
        for end in &mut ends {
            next += std::mem::replace(end, next);
        }
        let mut placed = vec![0.0; values.len()];
        for value in values {
            let end = &mut ends[cell(value)];
            placed[*end as usize] = value;
            *end += 1;
        }
        Cells { values: placed, in_order: vec![false; cells], ends }
    }

    /// The value at a place in ascending order, from 0.
    pub(super) fn value(&mut self, at: usize) -> Option<f64> {
        let cell = self.cell(at)?;
        if !std::mem::replace(&mut self.in_order[cell], true) {
            let (start, end) = self.reach(cell);
            self.values[start..end].sort_unstable_by(f64::total_cmp);
        }
        self.values.get(at).copied()
    }

    /// The least and the greatest value of the cell that holds a place.
    pub(super) fn bounds(&self, at: usize) -> Option<(f64, f64)> {
        let (start, end) = self.reach(self.cell(at)?);
        Some(extremes(&self.values[start..end]))
    }

    /// The first and the last rank (from 1) of each cell that holds any.
    pub(super) fn spans(&self) -> Vec<(usize, usize)> {
        let reaches = (0..self.ends.len()).map(|cell| self.reach(cell));
        reaches.filter(|(start, end)| start < end).map(|(start, end)| (start + 1, end)).collect()
    }

    fn cell(&self, at: usize) -> Option<usize> {
        (at < self.values.len()).then(|| self.ends.partition_point(|end| *end as usize <= at))
    }

    fn reach(&self, cell: usize) -> (usize, usize) {
        let start = cell.checked_sub(1).map_or(0, |before| self.ends[before] as usize);
        (start, self.ends[cell] as usize)
    }
}

fn extremes(values: &[f64]) -> (f64, f64) {
    let none = (f64::INFINITY, f64::NEG_INFINITY);
    values.iter().fold(none, |(low, high), value| (low.min(*value), high.max(*value)))
}
