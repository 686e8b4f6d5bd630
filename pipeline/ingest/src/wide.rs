//! Kept rows of a wide table: one a column that becomes a row.

use crate::header::Layout;
use crate::row::RowFault;
use crate::value::Value;

/// Leaves out columns of a wide table that hold nothing in this row, and adds up what is new at each.
pub(crate) fn narrow(layout: &Layout, kept: &mut Vec<Vec<Value>>) -> Result<(), RowFault> {
    let Some((name_to, value_to)) = layout.each_to else { return Ok(()) };
    kept.retain(|values| values[value_to] != Value::Missing);
    if kept.is_empty() {
        return Err(RowFault {
            code: "missing_value",
            message: format!("none of the {} columns that become rows holds a value", layout.each.len()),
            remedy: "fill in at least one of them".into(),
        });
    }
    if layout.newly {
        kept.sort_by_key(|values| match values[name_to] {
            Value::Moment { microseconds, .. } => microseconds,
            Value::Day(day) => i64::from(day),
            _ => 0,
        });
        let (mut number, mut whole) = (0.0, 0);
        for values in kept {
            match &mut values[value_to] {
                Value::Integer(new) => {
                    whole += *new;
                    *new = whole;
                }
                Value::Number(new) => {
                    number += *new;
                    *new = number;
                }
                _ => {}
            }
        }
    }
    Ok(())
}
