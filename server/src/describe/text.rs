//! Two shapes of text that many fields share. A field names its shape as a format; whoever reads the API document, and the
//! validator, gets the pattern that stands behind it.

use utoipa::openapi::{
    RefOr, Schema, SchemaFormat,
    schema::{ArrayItems, Object},
};

/// One line: no control characters and nothing that shows as nothing, and it begins with something to be seen.
const LINE: &str = "^[^\\u0000-\\u0020\\u007f-\\u00a0\\u200b-\\u200f\\u2028-\\u202f\\u2060-\\u206f\\u3000\\ufeff][^\\u0000-\\u001f\\u007f-\\u009f\\u200b-\\u200f\\u2028-\\u202e\\u2060-\\u206f\\ufeff]*$";
/// The same with line breaks.
const LINES: &str = "^[^\\u0000-\\u0020\\u007f-\\u00a0\\u200b-\\u200f\\u2028-\\u202f\\u2060-\\u206f\\u3000\\ufeff][^\\u0000-\\u0009\\u000b-\\u001f\\u007f-\\u009f\\u200b-\\u200f\\u2028-\\u202e\\u2060-\\u206f\\ufeff]*$";

/// Puts the pattern in the place of each `line` and `lines`.
pub(super) fn spell_out(schema: &mut RefOr<Schema>) {
    if let RefOr::T(schema) = schema {
        spell_out_schema(schema);
    }
}

fn spell_out_schema(schema: &mut Schema) {
    match schema {
        Schema::Object(object) => spell_out_object(object),
        Schema::Array(array) => {
            if let ArrayItems::RefOrSchema(items) = &mut array.items {
                spell_out(items);
            }
        }
        Schema::OneOf(one) => one.items.iter_mut().for_each(spell_out),
        Schema::AllOf(all) => all.items.iter_mut().for_each(spell_out),
        Schema::AnyOf(any) => any.items.iter_mut().for_each(spell_out),
        _ => {}
    }
}

fn spell_out_object(object: &mut Object) {
    let pattern = match &object.format {
        Some(SchemaFormat::Custom(name)) if name == "line" => Some(LINE),
        Some(SchemaFormat::Custom(name)) if name == "lines" => Some(LINES),
        _ => None,
    };
    if let Some(pattern) = pattern {
        object.format = None;
        object.pattern = Some(pattern.to_owned());
    }
    object.properties.values_mut().for_each(spell_out);
}
