//! One field of a form: what it is called, how it is typed, and what JSON it becomes.

use jiff::tz::TimeZone;

use super::choice::{Choice, choices};

/// The field in which something asks for the own password again. It is no pointer, so that it goes into no request of the API.
pub const OWN_PASSWORD: &str = "own_password";

/// How a field is typed.
#[derive(Debug, Clone)]
pub enum Control {
    /// One line: the kind of input, and the keys a phone shows.
    Line(&'static str, &'static str),
    /// Several lines.
    Lines,
    /// One of a list; nothing is chosen beforehand.
    One(Vec<Choice>),
    /// Any number of a list.
    Many(Vec<Choice>),
    /// A box to tick.
    Tick,
    /// A file of the computer or phone, of these endings.
    File(&'static str),
    /// Carried along.
    Hidden,
}

/// What JSON the text becomes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shape {
    Text,
    Number,
    Truth,
    List,
    /// Several texts in one line, with blanks or commas between.
    Row,
    /// JSON that somebody pastes.
    Json,
    /// Day and time as the clock of the field's zone shows them.
    Moment,
}

/// One field, with what stands in it.
#[derive(Debug, Clone)]
pub struct Field {
    /// Where it belongs in the request, as a JSON pointer; any other name is not sent to the API.
    pub name: String,
    pub label: String,
    pub help: String,
    pub control: Control,
    pub optional: bool,
    /// The heading that begins with this field.
    pub heading: Option<String>,
    /// From this field on the form is folded under these words.
    pub fold: Option<String>,
    pub value: Vec<String>,
    pub faults: Vec<String>,
    /// What the book has, where somebody else changed it meanwhile.
    pub other: Option<String>,
    pub shape: Shape,
    /// By which clock a moment is meant.
    pub zone: Option<TimeZone>,
}

impl Field {
    fn of(name: &str, label: &str, control: Control, shape: Shape) -> Self {
        Self {
            name: name.to_owned(),
            label: label.to_owned(),
            help: String::new(),
            control,
            optional: false,
            heading: None,
            fold: None,
            value: Vec::new(),
            faults: Vec::new(),
            other: None,
            shape,
            zone: None,
        }
    }

    pub fn line(name: &str, label: &str) -> Self {
        Self::of(name, label, Control::Line("text", "text"), Shape::Text)
    }

    pub fn lines(name: &str, label: &str) -> Self {
        Self::of(name, label, Control::Lines, Shape::Text)
    }

    pub fn telephone(name: &str, label: &str) -> Self {
        Self::of(name, label, Control::Line("tel", "tel"), Shape::Text)
    }

    /// Several figures, typed one after the other.
    pub fn row_of(name: &str, label: &str) -> Self {
        Self::of(name, label, Control::Lines, Shape::Row)
    }

    /// JSON, pasted whole.
    pub fn pasted(name: &str, label: &str) -> Self {
        Self::of(name, label, Control::Lines, Shape::Json)
    }

    pub fn password(name: &str, label: &str) -> Self {
        Self::of(name, label, Control::Line("password", "text"), Shape::Text)
    }

    /// The own password, where something asks for it again.
    pub fn own_password(when: &str) -> Self {
        let field = Self::password(OWN_PASSWORD, "Your own password");
        field.optional().under("Show that it is you").help(when)
    }

    pub fn day(name: &str, label: &str) -> Self {
        Self::of(name, label, Control::Line("date", "text"), Shape::Text)
    }

    /// A moment, as the clock at a place shows it.
    pub fn moment(name: &str, label: &str, zone: TimeZone) -> Self {
        let field = Self::of(name, label, Control::Line("datetime-local", "text"), Shape::Moment);
        Self { zone: Some(zone), ..field }
    }

    /// An amount: decimal text, so that no digit is lost.
    pub fn amount(name: &str, label: &str) -> Self {
        Self::of(name, label, Control::Line("text", "decimal"), Shape::Text)
    }

    pub fn number(name: &str, label: &str) -> Self {
        Self::of(name, label, Control::Line("text", "decimal"), Shape::Number)
    }

    pub fn one(name: &str, label: &str, choices: Vec<Choice>) -> Self {
        Self::of(name, label, Control::One(choices), Shape::Text)
    }

    /// Yes or no, and neither beforehand.
    pub fn yes_or_no(name: &str, label: &str) -> Self {
        let answers = choices(&[("true", "yes"), ("false", "no")]);
        Self::of(name, label, Control::One(answers), Shape::Truth)
    }

    pub fn many(name: &str, label: &str, choices: Vec<Choice>) -> Self {
        Self::of(name, label, Control::Many(choices), Shape::List)
    }

    pub fn tick(name: &str, label: &str) -> Self {
        Self::of(name, label, Control::Tick, Shape::Truth)
    }

    pub fn file(name: &str, label: &str, endings: &'static str) -> Self {
        Self::of(name, label, Control::File(endings), Shape::Text)
    }

    pub fn hidden(name: &str, value: impl Into<String>) -> Self {
        let mut field = Self::of(name, name, Control::Hidden, Shape::Text);
        field.value = vec![value.into()];
        field
    }

    #[must_use]
    pub fn help(mut self, words: impl Into<String>) -> Self {
        self.help = words.into();
        self
    }

    #[must_use]
    pub fn optional(mut self) -> Self {
        self.optional = true;
        self
    }

    #[must_use]
    pub fn under(mut self, heading: impl Into<String>) -> Self {
        self.heading = Some(heading.into());
        self
    }

    /// Folds this field and all that follow it, until somebody opens them.
    #[must_use]
    pub fn folded(mut self, under: impl Into<String>) -> Self {
        self.fold = Some(under.into());
        self
    }

    /// The row of a list that it belongs to, such as `/rounds/2` of `/rounds/2/name`.
    pub fn row(&self) -> Option<&str> {
        self.name.match_indices('/').find_map(|(slash, _)| {
            let number = self.name[slash + 1..].split('/').next().unwrap_or_default();
            number.parse::<usize>().is_ok().then(|| &self.name[..slash + 1 + number.len()])
        })
    }

    /// Whether nothing was typed, chosen or ticked.
    pub fn says_nothing(&self) -> bool {
        self.value.iter().all(|text| text.trim().is_empty())
    }

    pub fn is_file(&self) -> bool {
        matches!(self.control, Control::File(_))
    }

    pub fn is_hidden(&self) -> bool {
        matches!(self.control, Control::Hidden)
    }

    /// What stands in it, trimmed; nothing for an empty field.
    pub fn text(&self) -> &str {
        self.value.first().map_or("", |text| text.trim())
    }

    pub fn has(&self, value: &str) -> bool {
        self.value.iter().any(|one| one == value)
    }

    pub fn ticked(&self) -> bool {
        self.text() == "true"
    }

    /// Lines of the box to type into.
    pub fn height(&self) -> usize {
        if self.shape == Shape::Json { 8 } else { 3 }
    }

    /// An element id: pointers hold slashes.
    pub fn id(&self) -> String {
        format!("f{}", self.name.replace(['/', ' '], "-"))
    }

    /// Whether it takes the whole width of a form: what has many choices or lines.
    pub fn is_broad(&self) -> bool {
        matches!(self.control, Control::Many(_) | Control::Lines | Control::File(_))
    }

    pub fn described(&self) -> bool {
        !self.described_by().is_empty()
    }

    /// Elements that say more about it, for readers of the screen.
    pub fn described_by(&self) -> String {
        let id = self.id();
        let parts =
            [(!self.help.is_empty(), "help"), (!self.faults.is_empty(), "fault"), (self.other.is_some(), "other")];
        parts.iter().filter(|(there, _)| *there).map(|(_, part)| format!("{id}-{part}")).collect::<Vec<_>>().join(" ")
    }
}
