//! What is too much to be read at all. A body of a mebibyte holds hundreds of thousands of values, and each of them would be
//! held against every shape that it might have: minutes of work for a request that is refused in any case. So the lists are
//! counted first, along the schema, and one that is far too long is told by its number alone.

use serde_json::Value;

use super::{
    FieldFault, Schemas,
    model::{Others, Schema, Type},
    words::counted,
};

/// Most values in a document: three times the largest that anybody means, an outline of 1,000 positions.
const MOST_VALUES: usize = 12_000;
/// So much longer than its bound a list may be before it is not read any further: then its entries are told as well.
const READ_ON: u64 = 50;

/// The lists that are far too long, or the document that holds too much; empty when everything may be read.
pub(super) fn faults(schemas: &Schemas, schema: &Schema, value: &Value) -> Result<Vec<FieldFault>, String> {
    let mut count = Count { schemas, left: MOST_VALUES, faults: Vec::new() };
    count.look(schema, value, "")?;
    if count.left == 0 {
        let detail = format!("holds more than {MOST_VALUES} values; send less at once");
        return Ok(vec![FieldFault::at("", "wrong_count", detail)]);
    }
    Ok(count.faults)
}

struct Count<'s> {
    schemas: &'s Schemas,
    left: usize,
    faults: Vec<FieldFault>,
}

impl Count<'_> {
    fn look(&mut self, schema: &Schema, value: &Value, at: &str) -> Result<(), String> {
        if self.left == 0 || !(value.is_array() || value.is_object()) {
            return Ok(());
        }
        let schemas = self.schemas;
        let schema = schemas.resolve(schema)?;
        if !schema.one_of.is_empty() {
            self.choose(&schema.one_of, value, at)?;
        }
        match (value, &schema.items) {
            (Value::Array(entries), Some(items)) => self.list(schema, items, entries, at),
            (Value::Object(members), _) if !schema.properties.is_empty() => {
                self.left = self.left.saturating_sub(members.len());
                for (name, member) in members {
                    if let Some(property) = schema.properties.get(name) {
                        self.look(property, member, &format!("{at}/{}", super::escape(name)))?;
                    }
                }
                Ok(())
            }
            (Value::Object(members), _) => {
                let Others::Like(other) = &schema.others else { return Ok(()) };
                self.left = self.left.saturating_sub(members.len());
                members
                    .iter()
                    .try_for_each(|(name, member)| self.look(other, member, &format!("{at}/{}", super::escape(name))))
            }
            _ => Ok(()),
        }
    }

    /// Whether a shape is of the value's kind at all: "or nothing" has nothing to say of a list.
    fn may_be(&self, schema: &Schema, value: &Value) -> Result<bool, String> {
        let kind = if value.is_array() { Type::Array } else { Type::Object };
        let types = &self.schemas.resolve(schema)?.types;
        Ok(types.is_empty() || types.contains(&kind))
    }

    fn list(&mut self, schema: &Schema, items: &Schema, entries: &[Value], at: &str) -> Result<(), String> {
        let length = u64::try_from(entries.len()).unwrap_or(u64::MAX);
        if let Some(most) = schema.max_items
            && length > 2 * most + READ_ON
        {
            let detail = format!("must have at most {}, and has {length}", counted(most, "entry"));
            self.faults.push(FieldFault::at(at, "wrong_count", detail));
            return Ok(());
        }
        self.left = self.left.saturating_sub(entries.len());
        entries.iter().enumerate().try_for_each(|(index, entry)| self.look(items, entry, &format!("{at}/{index}")))
    }

    /// Of several shapes the one that finds least to refuse: a list may be longer in one than in another.
    fn choose(&mut self, choices: &[Schema], value: &Value, at: &str) -> Result<(), String> {
        let before = self.left;
        let (mut least, mut used) = (None::<Vec<FieldFault>>, 0);
        for choice in choices {
            if !self.may_be(choice, value)? {
                continue;
            }
            let mut count = Count { schemas: self.schemas, left: before, faults: Vec::new() };
            count.look(choice, value, at)?;
            used = used.max(before - count.left);
            if least.as_ref().is_none_or(|least| count.faults.len() < least.len()) {
                least = Some(count.faults);
            }
        }
        self.left = before.saturating_sub(used);
        self.faults.extend(least.unwrap_or_default());
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    fn faults(schema: &Value, value: &Value) -> Vec<FieldFault> {
        let schema = serde_json::from_value(schema.clone()).unwrap();
        super::faults(&Schemas::default(), &schema, value).unwrap()
    }

    #[test]
    fn a_list_is_counted_by_the_shape_that_takes_most() {
        let lists = |most: u64| json!({ "properties": { "list": { "items": {}, "maxItems": most } } });
        let root = json!({ "oneOf": [{ "type": "null" }, lists(1), lists(100)] });
        let of = |count: usize| faults(&root, &json!({ "list": vec![1; count] }));
        assert_eq!((of(250).len(), of(251).len()), (0, 1));
        // A shape that does not know the list has nothing to say of it.
        assert_eq!(faults(&json!({ "oneOf": [lists(1), {}] }), &json!({ "list": vec![1; 500] })), []);
    }

    #[test]
    fn a_document_is_counted_as_a_whole() {
        let root = json!({ "items": { "items": {}, "maxItems": 1_000 }, "maxItems": 1_000 });
        let of = |count: usize| faults(&root, &json!(vec![vec![1; 999]; count]));
        assert!(of(11).is_empty());
        assert_eq!((of(13).len(), of(13)[0].code.as_str()), (1, "wrong_count"));
    }
}
