//! The shape of a figure as the API document tells it: each kind with its own fields and no other, so that a misspelt field is
//! told where it stands. The derived description would leave the kinds open.

use utoipa::{
    PartialSchema, ToSchema,
    openapi::{
        ArrayBuilder, ObjectBuilder, OneOfBuilder, Ref, RefOr, Schema,
        schema::{AdditionalProperties, Type},
    },
};

use super::{
    outline::Outline,
    shapes::{OffsetRule, Shape},
};
use crate::quantity::Distance;

fn length() -> RefOr<Schema> {
    Ref::from_schema_name(Distance::name()).into()
}

fn lengths(least: usize) -> RefOr<Schema> {
    ArrayBuilder::new().items(length()).min_items(Some(least)).max_items(Some(1_000)).into()
}

fn kind(tag: &str, about: &str, fields: Vec<(&str, RefOr<Schema>)>) -> ObjectBuilder {
    let tag = ObjectBuilder::new().schema_type(Type::String).enum_values(Some([tag]));
    let mut object = ObjectBuilder::new()
        .description(Some(about))
        .property("shape", tag)
        .required("shape")
        .additional_properties(Some(AdditionalProperties::FreeForm(false)));
    for (name, schema) in fields {
        object = object.property(name, schema).required(name);
    }
    object
}

impl PartialSchema for Shape {
    fn schema() -> RefOr<Schema> {
        let sides = || vec![("length_ft", length()), ("width_ft", length())];
        let outline = kind(
            "outline",
            "Walked or drawn on the map: a GeoJSON polygon, with holes for what is not lawn.",
            vec![("outline", Ref::from_schema_name(Outline::name()).into())],
        );
        let off = OneOfBuilder::new().item(ObjectBuilder::new().schema_type(Type::Null)).item(length());
        let off = off.description(Some("How far each corner may be off."));
        let trapezoid = vec![("side_ft", length()), ("other_side_ft", length()), ("height_ft", length())];
        let rule: RefOr<Schema> = Ref::from_schema_name(OffsetRule::name()).into();
        OneOfBuilder::new()
            .description(Some("One figure. Lengths are in feet."))
            .item(kind("rectangle", "Length x width.", sides()))
            .item(kind("triangle", "Base x height / 2.", vec![("base_ft", length()), ("height_ft", length())]))
            .item(kind("circle", "Pi x radius squared.", vec![("radius_ft", length())]))
            .item(kind("trapezoid", "Two parallel sides and the distance between them.", trapezoid))
            .item(kind(
                "oval",
                "Length x width x 0.8, the trade's rule for a lawn that is nearly an ellipse and a little fuller.",
                sides(),
            ))
            .item(kind("ellipse", "A true ellipse: length x width x pi / 4.", sides()))
            .item(kind(
                "offsets",
                "Widths across the longest line at even distances, the first and last at its ends.",
                vec![("spacing_ft", length()), ("widths_ft", lengths(2)), ("rule", rule)],
            ))
            .item(kind(
                "average_radius",
                "A circle with the mean of radii measured all around from one middle.",
                vec![("radii_ft", lengths(3))],
            ))
            .item(outline.property("position_error_ft", off))
            .into()
    }
}

impl ToSchema for Shape {
    fn name() -> std::borrow::Cow<'static, str> {
        "Shape".into()
    }

    fn schemas(schemas: &mut Vec<(String, RefOr<Schema>)>) {
        schemas.push((Distance::name().into_owned(), Distance::schema()));
        schemas.push((OffsetRule::name().into_owned(), OffsetRule::schema()));
        schemas.push((Outline::name().into_owned(), Outline::schema()));
        Outline::schemas(schemas);
    }
}
