//! Columns of a table, each with its name and its values.

use crate::time::Time;
use arrow_array::builder::{
    ArrayBuilder, Float64Builder, Int64Builder, ListBuilder, StringBuilder, StructBuilder, UInt64Builder,
};
use arrow_array::{
    ArrayRef, BooleanArray, Float64Array, Int64Array, RecordBatch, StringArray, TimestampMicrosecondArray,
    UInt64Array,
};
use arrow_schema::{ArrowError, DataType, Field, Fields, Schema};
use std::sync::Arc;

/// A table that is being put together, column by column. Every column may hold nulls.
#[derive(Default)]
pub(super) struct Columns {
    fields: Vec<Field>,
    arrays: Vec<ArrayRef>,
}

impl Columns {
    fn add(mut self, name: &str, array: ArrayRef) -> Self {
        self.fields.push(Field::new(name, array.data_type().clone(), true));
        self.arrays.push(array);
        self
    }

    /// Texts.
    pub(super) fn text<'a>(self, name: &str, values: impl Iterator<Item = Option<&'a str>>) -> Self {
        self.add(name, Arc::new(values.collect::<StringArray>()))
    }

    /// Whole numbers that may be negative or small.
    pub(super) fn whole(self, name: &str, values: impl Iterator<Item = Option<i64>>) -> Self {
        self.add(name, Arc::new(values.collect::<Int64Array>()))
    }

    /// Counts.
    pub(super) fn count(self, name: &str, values: impl Iterator<Item = u64>) -> Self {
        self.add(name, Arc::new(values.map(Some).collect::<UInt64Array>()))
    }

    /// Numbers; what is no number is null.
    pub(super) fn number(self, name: &str, values: impl Iterator<Item = Option<f64>>) -> Self {
        self.add(name, Arc::new(values.map(|v| v.filter(|v| v.is_finite())).collect::<Float64Array>()))
    }

    /// Yes or no.
    pub(super) fn truth(self, name: &str, values: impl Iterator<Item = bool>) -> Self {
        self.add(name, Arc::new(values.map(Some).collect::<BooleanArray>()))
    }

    /// Moments, microseconds since 1970-01-01 UTC.
    pub(super) fn moment(self, name: &str, values: impl Iterator<Item = Option<Time>>) -> Self {
        let array: TimestampMicrosecondArray = values.map(|time| time.map(|time| time.0)).collect();
        self.add(name, Arc::new(array.with_timezone("UTC")))
    }

    /// Lists of texts.
    pub(super) fn texts<'a>(
        self,
        name: &str,
        rows: impl Iterator<Item = Box<dyn Iterator<Item = &'a str> + 'a>>,
    ) -> Self {
        let mut list = ListBuilder::new(StringBuilder::new());
        for row in rows {
            row.for_each(|text| list.values().append_value(text));
            list.append(true);
        }
        self.add(name, Arc::new(list.finish()))
    }

    /// Lists of records: `fill` appends the parts of each row's records and says how many there are.
    pub(super) fn records<T>(
        self,
        name: &str,
        parts: &[(&str, DataType)],
        rows: impl Iterator<Item = T>,
        fill: impl Fn(T, &mut Parts<'_>),
    ) -> Self {
        let fields: Fields = parts.iter().map(|(name, kind)| Field::new(*name, kind.clone(), true)).collect();
        let builders = parts.iter().map(|(_, kind)| builder(kind)).collect();
        let mut list = ListBuilder::new(StructBuilder::new(fields, builders));
        for row in rows {
            fill(row, &mut Parts(list.values()));
            list.append(true);
        }
        self.add(name, Arc::new(list.finish()))
    }

    /// The table.
    ///
    /// # Errors
    /// When the columns are not equally long.
    pub(super) fn table(self) -> Result<RecordBatch, ArrowError> {
        RecordBatch::try_new(Arc::new(Schema::new(self.fields)), self.arrays)
    }
}

fn builder(kind: &DataType) -> Box<dyn ArrayBuilder> {
    match kind {
        DataType::UInt64 => Box::new(UInt64Builder::new()),
        DataType::Int64 => Box::new(Int64Builder::new()),
        DataType::Float64 => Box::new(Float64Builder::new()),
        _ => Box::new(StringBuilder::new()),
    }
}

/// The records of one row's list.
pub(super) struct Parts<'a>(&'a mut StructBuilder);

impl Parts<'_> {
    /// A number as the part at `place` of the record that is being filled.
    pub(super) fn number(&mut self, place: usize, value: Option<f64>) {
        if let Some(builder) = self.0.field_builder::<Float64Builder>(place) {
            builder.append_option(value.filter(|v| v.is_finite()));
        }
    }

    /// A count, likewise.
    pub(super) fn count(&mut self, place: usize, value: u64) {
        if let Some(builder) = self.0.field_builder::<UInt64Builder>(place) {
            builder.append_value(value);
        }
    }

    /// A text, likewise.
    pub(super) fn text(&mut self, place: usize, value: Option<&str>) {
        if let Some(builder) = self.0.field_builder::<StringBuilder>(place) {
            builder.append_option(value);
        }
    }

    /// Ends the record.
    pub(super) fn end(&mut self) {
        self.0.append(true);
    }
}
