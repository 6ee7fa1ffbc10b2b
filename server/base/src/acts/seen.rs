//! What was seen and done beside the amounts, the ground and the clean-up: how the amount was measured, how far from water, the
//! sky, the watering in, notices. All of it may be left out, and what becomes known later is added to the record.

use domain::{facts::KeptDistances, quantity::Distance, time::Instant};
use jiff::SignedDuration;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::problem::FieldFault;

/// How the amount that was used became known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum AmountMeasuredBy {
    Weighed,
    BagsCounted,
    HopperScale,
    FlowMeter,
    TankGauge,
    /// Worked out from the machine's calibration and the area, and measured by nobody.
    Calibration,
}

/// Where the wind came from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum WindFrom {
    North,
    Northeast,
    East,
    Southeast,
    South,
    Southwest,
    West,
    Northwest,
    Variable,
    /// No wind that could be felt.
    Calm,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Sky {
    Clear,
    PartlyCloudy,
    Overcast,
    Fog,
    Rain,
    Snow,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum WateredBy {
    /// The company's own people.
    Company,
    Client,
    /// An irrigation system that runs by itself.
    Irrigation,
    Rain,
}

/// The product was watered in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct WateredIn {
    pub at: Instant,
    pub by: WateredBy,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum NoticeKind {
    Sign,
    DoorCard,
    Email,
    TextMessage,
    Letter,
    Spoken,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum NoticeTo {
    Client,
    /// Whoever lives there, if not the client.
    Occupant,
    Neighbors,
    /// Whoever comes by.
    Public,
}

/// A notice that was left, posted, sent or spoken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Notice {
    pub kind: NoticeKind,
    pub at: Instant,
    pub to: NoticeTo,
}

/// A special instruction of the label, such as a sentence about children and pets.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct LabelInstruction {
    #[schema(min_length = 1, max_length = 300, format = "line")]
    pub words: String,
    /// It was kept while the work was done.
    pub kept: bool,
    /// It was passed on to the client.
    #[serde(default, skip_serializing_if = "is_false")]
    pub passed_on: bool,
}

/// What a person saw or did. None of it is assumed.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SeenFacts {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub amount_measured_by: Option<AmountMeasuredBy>,
    /// The gate, dial or nozzle and pressure that the machine was set to.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(min_length = 1, max_length = 60, format = "line")]
    pub machine_setting: Option<String>,
    /// The distance that was really kept from water.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub kept_from_water_ft: Option<Distance>,
    /// The distance that was really kept from drains and storm inlets.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub kept_from_drains_ft: Option<Distance>,
    /// At the start of the work, as are the wind and the sky of the record.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wind_from: Option<WindFrom>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sky: Option<Sky>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub watered_in: Option<WateredIn>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 10)]
    pub label_instructions: Vec<LabelInstruction>,
    /// Somebody looked, and the label has no special instruction.
    #[serde(default, skip_serializing_if = "is_false")]
    pub no_label_instruction: bool,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 20)]
    pub notices: Vec<Notice>,
}

impl SeenFacts {
    pub fn is_empty(&self) -> bool {
        *self == Self::default()
    }

    /// What cannot be so: what lies more than a day ahead, since clocks and zones differ by less, watering in before the work, and
    /// an instruction of a label that has none.
    pub fn faults(&self, started_at: Instant, now: Instant) -> Vec<FieldFault> {
        let ahead = |at: Instant| at.since(now) > SignedDuration::from_hours(24);
        let future = |pointer: String| FieldFault::at(pointer, "in_the_future", "lies more than a day after now");
        let mut faults = Vec::new();
        if let Some(watered) = self.watered_in {
            let pointer = "/seen/watered_in/at";
            if ahead(watered.at) {
                faults.push(future(pointer.to_owned()));
            } else if watered.at.since(started_at).is_negative() {
                faults.push(FieldFault::at(pointer, "out_of_range", "lies before the work began"));
            }
        }
        if self.no_label_instruction && !self.label_instructions.is_empty() {
            let told = "says that the label has no instruction, and one is told";
            faults.push(FieldFault::at("/seen/no_label_instruction", "contradiction", told));
        }
        let notices = self.notices.iter().enumerate().filter(|(_, notice)| ahead(notice.at));
        faults.extend(notices.map(|(at, _)| future(format!("/seen/notices/{at}/at"))));
        faults
    }
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "serde hands a reference")]
const fn is_false(value: &bool) -> bool {
    !*value
}

/// What was kept from water and drains, as far as somebody says it.
pub fn kept(seen: Option<&SeenFacts>) -> KeptDistances {
    seen.map_or_else(KeptDistances::default, |seen| KeptDistances {
        from_water: seen.kept_from_water_ft,
        from_drains: seen.kept_from_drains_ft,
    })
}

impl AmountMeasuredBy {
    /// How a page says it.
    pub const fn label(self) -> &'static str {
        match self {
            Self::Weighed => "weighed",
            Self::BagsCounted => "bags counted",
            Self::HopperScale => "scale of the hopper",
            Self::FlowMeter => "flow meter",
            Self::TankGauge => "gauge of the tank",
            Self::Calibration => "worked out from the calibration",
        }
    }
}

impl WindFrom {
    /// How a page says it.
    pub const fn label(self) -> &'static str {
        match self {
            Self::North => "from the north",
            Self::Northeast => "from the northeast",
            Self::East => "from the east",
            Self::Southeast => "from the southeast",
            Self::South => "from the south",
            Self::Southwest => "from the southwest",
            Self::West => "from the west",
            Self::Northwest => "from the northwest",
            Self::Variable => "from changing directions",
            Self::Calm => "calm",
        }
    }
}

impl Sky {
    /// How a page says it.
    pub const fn label(self) -> &'static str {
        match self {
            Self::Clear => "clear",
            Self::PartlyCloudy => "partly cloudy",
            Self::Overcast => "overcast",
            Self::Fog => "fog",
            Self::Rain => "rain",
            Self::Snow => "snow",
        }
    }
}

impl WateredBy {
    /// How a page says it.
    pub const fn label(self) -> &'static str {
        match self {
            Self::Company => "the company",
            Self::Client => "the client",
            Self::Irrigation => "an irrigation system",
            Self::Rain => "rain",
        }
    }
}

impl NoticeKind {
    /// How a page says it.
    pub const fn label(self) -> &'static str {
        match self {
            Self::Sign => "sign",
            Self::DoorCard => "door card",
            Self::Email => "e-mail",
            Self::TextMessage => "text message",
            Self::Letter => "letter",
            Self::Spoken => "spoken",
        }
    }
}

impl NoticeTo {
    /// How a page says it.
    pub const fn label(self) -> &'static str {
        match self {
            Self::Client => "the client",
            Self::Occupant => "whoever lives there",
            Self::Neighbors => "the neighbors",
            Self::Public => "whoever comes by",
        }
    }
}
