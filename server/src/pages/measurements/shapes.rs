//! The shapes that a lawn is measured by, chosen before their lengths are asked.

use crate::{
    pages::form::{Choice, Field, FormData, choices},
    problem::{FieldFault, Problem},
};

/// How many parts a form takes; the API takes more.
pub const PLACES: usize = 6;

const SHAPES: [(&str, &str); 9] = [
    ("rectangle", "rectangle"),
    ("triangle", "triangle"),
    ("circle", "circle"),
    ("trapezoid", "trapezoid, two parallel sides"),
    ("oval", "oval, by the trade's rule"),
    ("ellipse", "true ellipse"),
    ("offsets", "offsets: widths across a line"),
    ("average_radius", "average radius: distances all around from one middle"),
    ("outline", "outline on the map, pasted as GeoJSON"),
];

pub fn choice() -> Vec<Choice> {
    choices(&SHAPES)
}

/// The chosen shapes, in their order.
#[derive(Debug)]
pub struct Parts {
    lawn: Vec<&'static str>,
    off: Vec<&'static str>,
}

impl Parts {
    /// What was chosen, without the gaps.
    pub fn of(sent: &FormData) -> Result<Self, Problem> {
        let mut faults = Vec::new();
        let mut chosen = |list: &str| -> Vec<&'static str> {
            let names = (1..=PLACES).map(|place| format!("{list}{place}"));
            names
                .filter_map(|name| {
                    let said = sent.one(&name).filter(|word| !word.is_empty())?;
                    let known = SHAPES.iter().find(|(word, _)| *word == said).map(|(word, _)| *word);
                    if known.is_none() {
                        faults.push(FieldFault::parameter(name, "unknown_value", "is no shape that is known here"));
                    }
                    known
                })
                .collect()
        };
        let (lawn, off) = (chosen("lawn"), chosen("off"));
        if lawn.is_empty() && faults.is_empty() {
            faults.push(FieldFault::parameter("lawn1", "missing", "is required: something must be lawn"));
        }
        if faults.is_empty() { Ok(Self { lawn, off }) } else { Err(Problem::invalid(faults)) }
    }

    /// The same, for the address of the form.
    pub fn query(&self) -> String {
        let named = |list: &'static str, parts: &[&'static str]| {
            parts.iter().enumerate().map(move |(at, shape)| format!("{list}{}={shape}", at + 1)).collect::<Vec<_>>()
        };
        [named("lawn", &self.lawn), named("off", &self.off)].concat().join("&")
    }

    /// The lengths of each, and where an outline is drawn the ground that a distance is kept from.
    pub fn fields(&self) -> Vec<Field> {
        let lawn = self.lawn.iter().enumerate().flat_map(|(at, shape)| part("lawn", "Lawn", at, shape));
        let off = self.off.iter().enumerate().flat_map(|(at, shape)| part("not_lawn", "Not lawn", at, shape));
        let mut fields: Vec<Field> = lawn.chain(off).collect();
        if self.lawn.contains(&"outline") {
            fields.extend((0..2).flat_map(keep_off));
        }
        fields
    }
}

fn part(list: &str, called: &str, at: usize, shape: &str) -> Vec<Field> {
    let name = |member: &str| format!("/from/{list}/{at}/{member}");
    let heading = format!("{called}, part {}: {}", at + 1, shape.replace('_', " "));
    let label = |words: &str| format!("{called} {}: {words}", at + 1);
    let length = |member: &str, words: &str| Field::amount(&name(member), &label(&format!("{words}, ft")));
    let mut fields = match shape {
        "rectangle" | "oval" | "ellipse" => vec![length("length_ft", "length"), length("width_ft", "width")],
        "triangle" => vec![length("base_ft", "base"), length("height_ft", "height at right angles to it")],
        "circle" => vec![length("radius_ft", "radius")],
        "trapezoid" => vec![
            length("side_ft", "one parallel side"),
            length("other_side_ft", "the other parallel side"),
            length("height_ft", "distance between them"),
        ],
        "offsets" => offsets(&name, &label),
        "average_radius" => vec![
            Field::row_of(&name("radii_ft"), &label("distances from the middle to the edge, ft"))
                .help("At equal angles all around, with blanks between, such as 7.1 8.9 9.7."),
        ],
        _ => vec![
            Field::pasted(&name("outline"), &label("outline as GeoJSON"))
                .help("A Polygon with type and coordinates, longitude before latitude, each ring ending where it began. Of a Feature, what stands in its geometry."),
            Field::amount(&name("position_error_ft"), &label("how far each corner may be off, ft")).optional(),
        ],
    };
    if let Some(first) = fields.first_mut() {
        first.heading = Some(heading);
    }
    fields.push(Field::hidden(&name("shape"), shape));
    fields
}

fn offsets(name: &impl Fn(&str) -> String, label: &impl Fn(&str) -> String) -> Vec<Field> {
    let rules = choices(&[
        ("trapezoidal", "straight lines between the widths"),
        ("simpson", "curves through every three widths, for an even number of strips"),
    ]);
    vec![
        Field::amount(&name("spacing_ft"), &label("from one width to the next, ft")),
        Field::row_of(&name("widths_ft"), &label("widths, ft"))
            .help("From one end of the line to the other, with blanks between, such as 3.9 4.5 5.1; 0 where an end is a point."),
        Field::one(&name("rule"), &label("how the edge runs"), rules),
    ]
}

fn keep_off(at: usize) -> [Field; 3] {
    let name = |member: &str| format!("/from/keep_off/{at}/{member}");
    let label = |words: &str| format!("Setback {}: {words}", at + 1);
    let kinds = choices(&[
        ("water", "water"),
        ("drain", "a drain"),
        ("pavement", "pavement"),
        ("well", "a well"),
        ("other", "something else"),
    ]);
    [
        Field::one(&name("kind"), &label("what"), kinds)
            .optional()
            .under(format!("Setback {}: ground to stay away from", at + 1))
            .help("What lies too near to it is taken off the area. Leave it empty when nothing is near."),
        Field::pasted(&name("positions"), &label("its edge as a list of positions"))
            .optional()
            .help("Such as [[-76.88, 40.27], [-76.87, 40.27]]: one position for a drain, a closed ring for a pond."),
        Field::amount(&name("distance_ft"), &label("distance, ft")).optional().help(
            "Of water it may stay empty: then the longest that the property's rule sets ask on the day of measuring.",
        ),
    ]
}
