//! The lime of a section: what its soil report recommends, what of it is down, and whose rule splits it.

use domain::{
    land::Species,
    programme::liming::{LimeAsked, put_down_rounded_up},
    quantity::{Area, LimeCredit, NeutralisingValue, ProductMass},
    soil::liming::{LimeBy, LimeNeed, LimeQuestion, recommendation, split_rule},
    time::Day,
};

use super::Season;
use crate::store::programmes::lawns::{Lawn, LawnReport};

/// Months after which soil is sampled anew (Penn State AASL, online report, home lawn to maintain, read: "retested in three
/// years"). What an older report asks for may long be down or worn off, so it is not planned.
pub const REPORT_MONTHS: i32 = 36;

/// The lime to plan for, nothing where the report says nothing of it, or why what it says cannot be planned.
pub fn asked(
    season: &Season,
    lawn: &Lawn,
    species: Option<Species>,
    (from, area): (Day, Area),
) -> Result<Option<LimeAsked>, String> {
    let Some(report) = &lawn.report else { return Ok(None) };
    let settings = season.programme.lime.unwrap_or_default();
    let question = question(report, species, settings.goal_ph, from);
    let Some(need) = recommendation(&question) else { return Ok(None) };
    if question.goal.is_none() && need.is_err() && report.ph.is_some() {
        return Err(
            "Lime is not planned: the report gives an acidity, and the program does not say which pH is wanted."
                .to_owned(),
        );
    }
    let LimeNeed { by, recommended_lb_per_1000_sqft: recommended, .. } =
        need.map_err(|why| format!("Lime is not planned. {why}"))?;
    if recommended.is_zero() {
        return Ok(None);
    }
    if report.before_planting {
        return Err(format!(
            "Lime is not planned: the soil sampled on {} was dug before planting, and what that report asks for is tilled in. Sample the lawn again.",
            report.sampled_on
        ));
    }
    if report.sampled_on.plus_months(REPORT_MONTHS) < from {
        return Err(format!(
            "Lime is not planned: the soil was sampled on {}, and Penn State has it tested again after three years.",
            report.sampled_on
        ));
    }
    let Some(rule) = settings.split_rule.or_else(|| split_rule(by, report.laboratory_table)) else {
        return Err(
            "Lime is not planned: the program does not say by whose rule it is split, and none was read for this laboratory."
                .to_owned(),
        );
    };
    let spread = spread(season, lawn, report, area);
    let last_on = spread.iter().map(|(on, ..)| *on).max();
    let spent = put_down_rounded_up(spread.into_iter().map(|(_, product, cce, area)| (product, cce, area)));
    let whose = match by {
        LimeBy::Laboratory => "its own figure",
        LimeBy::PennState => "Penn State's table",
        LimeBy::NorthCarolina => "North Carolina's formula",
    };
    Ok(Some(LimeAsked {
        recommended,
        spent,
        last_on,
        rule,
        cap_on: settings.cap_on.unwrap_or_default(),
        days_from_nitrogen: settings.days_from_nitrogen.unwrap_or(0),
        report: format!("{}, sampled on {}, by {whose}", report.laboratory, report.sampled_on),
    }))
}

fn question(
    report: &LawnReport,
    species: Option<Species>,
    goal: Option<domain::quantity::SoilPh>,
    first_on: Day,
) -> LimeQuestion {
    LimeQuestion {
        species,
        ph: report.ph,
        buffer_ph: report.buffer_ph,
        acidity: report.acidity,
        magnesium: None,
        recommended: report.lime,
        area: None,
        by: None,
        goal,
        credit: LimeCredit::ZERO,
        cce: None,
        split: None,
        cap_on: domain::soil::lime_rules::CapOn::default(),
        first_on,
    }
}

/// Lime on the section since the sample: what stands recorded, and what open visits will put down.
fn spread(
    season: &Season,
    lawn: &Lawn,
    report: &LawnReport,
    area: Area,
) -> Vec<(Day, ProductMass, NeutralisingValue, Area)> {
    let here = season.lime_lines.iter().filter(|line| line.section_id == lawn.section_id);
    let since = here.filter(|line| line.applied_on >= report.sampled_on);
    let mut spread: Vec<_> = since.map(|line| (line.applied_on, line.product, line.cce, line.area)).collect();
    for line in season.visits.iter().filter(|line| line.open && line.section_id == lawn.section_id) {
        let cce = season.world.products.get(&line.product_id).and_then(|product| product.label.cce());
        spread.extend(cce.zip(season.visit_product(line)).map(|(cce, product)| (line.planned_on, product, cce, area)));
    }
    spread
}
