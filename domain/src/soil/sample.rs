//! How the soil was dug: what makes a sample worth less than it looks.

use serde::{Deserialize, Serialize};

use crate::{quantity::Inches, time::Day};

/// With what the cores were taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum SamplingTool {
    Probe,
    Auger,
    Spade,
    Trowel,
    Other,
}

/// What was dug and mixed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SoilSample {
    pub sampled_on: Day,
    #[serde(default)]
    #[schema(minimum = 1, maximum = 1_000)]
    pub cores: Option<i32>,
    #[serde(default)]
    pub depth_in: Option<Inches>,
    #[serde(default)]
    pub tool: Option<SamplingTool>,
    /// Sampled before seeding or sodding: the soil that will be tilled, so the cores are taken deeper.
    #[serde(default)]
    pub before_planting: bool,
}

/// Whose advice on sampling is followed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum SamplingAdvice {
    Missouri,
    Massachusetts,
    Alabama,
    Georgia,
    Indiana,
    Kansas,
    Pennsylvania,
    Florida,
    Colorado,
    Washington,
    /// No state's own: at least 10 cores, and a depth that at least one of them names.
    Any,
}

/// Least cores, and depths in hundredths of an inch for established grass and before planting.
struct Advice {
    cores: i32,
    established: (i64, i64),
    planting: Option<(i64, i64)>,
    source: &'static str,
}

impl SamplingAdvice {
    const fn advice(self) -> Advice {
        const fn advice(
            cores: i32,
            established: (i64, i64),
            planting: Option<(i64, i64)>,
            source: &'static str,
        ) -> Advice {
            Advice { cores, established, planting, source }
        }
        match self {
            Self::Missouri => {
                advice(12, (400, 400), Some((600, 600)), "Missouri Extension, Soil Testing for Lawns (G6954)")
            }
            Self::Massachusetts => {
                advice(12, (300, 400), Some((600, 800)), "Massachusetts, Determining Your Soil's Nutrient Needs")
            }
            Self::Alabama => advice(10, (300, 400), None, "Alabama Extension, Fertilize with Care"),
            Self::Georgia => advice(15, (400, 600), None, "Georgia Extension, Soil Sampling (2021)"),
            Self::Indiana => advice(10, (300, 300), None, "Purdue, Soil Testing for Lawns (AY-18), read in a copy"),
            Self::Kansas => {
                advice(12, (300, 300), Some((400, 600)), "Kansas State, Guide to Turfgrass Nutrients, read in a copy")
            }
            Self::Pennsylvania => advice(12, (200, 300), None, "Penn State, soil sampling for turf, read in a copy"),
            Self::Florida => advice(10, (0, 400), None, "Florida Extension, Landscape Soil Testing (SS317)"),
            Self::Colorado => {
                advice(10, (400, 500), None, "Colorado State, extension answer; cores as the other states")
            }
            Self::Washington => {
                advice(10, (400, 400), None, "Washington State, Phosphorus and Home Lawns, read in a copy")
            }
            Self::Any => {
                advice(10, (200, 600), Some((400, 800)), "The least cores and the depths that the states' sheets name")
            }
        }
    }
}

/// Why a sample tells less than it could. It is used all the same, and the caution stays with it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct SampleCaution {
    #[schema(max_length = 300)]
    pub message: String,
    #[schema(max_length = 200)]
    pub source: String,
}

impl SoilSample {
    /// What a person should know before trusting it.
    pub fn cautions(&self, advice: SamplingAdvice) -> Vec<SampleCaution> {
        let Advice { cores, established, planting, source } = advice.advice();
        let mut cautions = Vec::new();
        let mut say = |message: String| cautions.push(SampleCaution { message, source: source.to_owned() });
        match self.cores {
            None => say("Nobody wrote down how many cores were mixed.".to_owned()),
            Some(taken) if taken < cores => {
                say(format!(
                    "Only {taken} cores were mixed; at least {cores} are asked for, or one odd spot moves the result."
                ));
            }
            Some(_) => {}
        }
        let (least, most) = if self.before_planting { planting.unwrap_or(established) } else { established };
        match self.depth_in {
            None => {
                say("Nobody wrote down how deep the cores went; the laboratory's tables hold for one depth.".to_owned());
            }
            Some(depth) if depth.raw() < least || depth.raw() > most => say(format!(
                "The cores went {depth} in deep; {} to {} in are asked for.",
                Inches::from_raw(least),
                Inches::from_raw(most)
            )),
            Some(_) => {}
        }
        cautions
    }
}
