//! The fields of a label, in the order in which a bag prints them.

use crate::pages::form::{Field, choices};

pub fn fields() -> Vec<Field> {
    let mut fields = guaranteed();
    fields.extend(claims());
    fields.extend(limits());
    fields.extend(printed());
    fields.extend(pesticide());
    fields
}

fn guaranteed() -> Vec<Field> {
    let forms = choices(&[("granular", "granular"), ("liquid", "liquid")]);
    vec![
        Field::line("/name", "Name"),
        Field::one("/label/form", "Form", forms),
        Field::amount("/net_weight_lb", "Weight of one bag or jug without its package, lb"),
        Field::amount("/label/nitrogen_percent", "Total nitrogen (N), %").under("Guaranteed analysis"),
        Field::amount("/label/slow_nitrogen_percent", "Of it slowly available, %").help(
            "Water-insoluble, coated or slowly available water-soluble. Nitrogen that is only stabilized by an inhibitor is not counted. 0 when the label claims none.",
        ),
        Field::amount("/label/phosphate_percent", "Available phosphate (P2O5), %"),
        Field::amount("/label/potash_percent", "Soluble potash (K2O), %"),
    ]
}

fn claims() -> Vec<Field> {
    vec![
        Field::tick("/label/enhanced_efficiency", "Labeled as an enhanced-efficiency fertilizer")
            .under("What the label says it is"),
        Field::tick("/label/organic", "Labeled as natural organic or organic-based"),
        Field::tick("/label/compost", "Compost, or labeled as made of compost"),
        Field::tick("/label/labelled_for_establishment", "Labeled for first establishment or repair of turf"),
        Field::tick("/label/enhanced_efficiency_phosphorus", "Labeled with enhanced-efficiency phosphorus"),
        Field::amount("/label/release_percent_per_month", "Share of the nitrogen released in a month, %")
            .optional()
            .help("Of an enhanced-efficiency product, if the label or its maker says so."),
    ]
}

fn limits() -> Vec<Field> {
    vec![
        Field::amount("/label/product_limit_lb_per_1000_sqft", "Most product in one application, lb per 1,000 sq ft")
            .optional()
            .under("Limits of the label"),
        Field::amount("/label/air_temperature_limit_f", "Hottest air, °F").optional(),
        Field::amount("/label/wind_limit_mph", "Strongest wind with its gusts, mph").optional(),
        Field::amount("/label/printed/watering_in_at_least_in", "Least watering in, inches").optional(),
        Field::amount("/label/printed/watering_in_at_most_in", "Most watering in, inches").optional(),
    ]
}

fn printed() -> Vec<Field> {
    vec![
        Field::amount("/label/printed/nitrogen_forms/ammoniacal_percent", "Ammoniacal nitrogen, %")
            .optional()
            .folded("What else the label prints, as far as somebody copies it"),
        Field::amount("/label/printed/nitrogen_forms/nitrate_percent", "Nitrate nitrogen, %").optional(),
        Field::amount("/label/printed/nitrogen_forms/urea_percent", "Urea nitrogen that is not coated, %").optional(),
        Field::amount("/label/printed/nitrogen_forms/other_water_soluble_percent", "Other water-soluble nitrogen, %")
            .optional(),
        Field::amount(
            "/label/printed/nitrogen_forms/slowly_available_water_soluble_percent",
            "Slowly available water-soluble nitrogen, %",
        )
        .optional(),
        Field::amount("/label/printed/nitrogen_forms/water_insoluble_percent", "Water-insoluble nitrogen, %")
            .optional(),
        Field::amount("/label/printed/nitrogen_forms/coated_slow_release_percent", "Coated slow-release nitrogen, %")
            .optional(),
        Field::yes_or_no("/label/printed/claims_slow_release", "Calls its nitrogen slow, controlled or timed")
            .optional(),
        Field::amount("/label/printed/density_lb_per_gal", "Weight of a gallon, lb")
            .optional()
            .help("Of a liquid: only the label's own figure counts."),
        Field::amount("/label/printed/cce_percent", "Calcium carbonate equivalent, %")
            .optional()
            .help("Of a liming material only. A product that states it and brings no nitrogen is planned for the lime that soil reports ask for."),
        Field::line("/label/printed/derived_from", "Derived from").optional(),
        Field::line("/label/printed/particle_size", "Size of the particles").optional(),
        Field::line("/label/printed/state_registration", "State registration").optional(),
        Field::line("/label/printed/version", "Version of the label").optional(),
        Field::day("/label/printed/dated", "Label dated").optional(),
    ]
}

/// Active ingredients that the form has room for; a program may send more.
const INGREDIENTS: usize = 4;

/// The pesticide half of a combination product. Most products have none, so it is folded.
fn pesticide() -> Vec<Field> {
    let at = |member: &str| format!("/label/printed/pesticide/{member}");
    let words = choices(&[
        ("caution", "Caution"),
        ("warning", "Warning"),
        ("danger", "Danger"),
        ("danger_poison", "Danger, Poison"),
    ]);
    let mut fields = vec![
        Field::line(&at("epa_registration"), "EPA registration number")
            .folded("Combination product: it is a pesticide too")
            .help("Of a product such as weed and feed: it is a pesticide, and its label binds as one. Whatever stands below needs it."),
        Field::one(&at("signal_word"), "Signal word", words),
        Field::line(&at("active_ingredients"), "Active ingredients, as printed"),
    ];
    for row in 0..INGREDIENTS {
        let number = row + 1;
        fields.push(Field::line(&at(&format!("ingredients/{row}/name")), &format!("Active ingredient {number}")));
        fields.push(Field::amount(&at(&format!("ingredients/{row}/percent")), &format!("Its share {number}, %")));
    }
    fields.extend([
        Field::line(&at("target_pests"), "Used against").help("The weeds, insects or diseases that the label names."),
        Field::amount(&at("lowest_product_lb_per_1000_sqft"), "Least product, lb per 1,000 sq ft")
            .help("The most stands under the limits of the label."),
        Field::number(&at("most_applications_a_year"), "Applications a year, at most"),
        Field::number(&at("least_days_between"), "Days between two applications, at least"),
        Field::number(&at("reentry_hours"), "Hours that people and pets stay off the treated ground"),
        Field::line(&at("reentry_words"), "The same in the label's words, such as until dry"),
        Field::line(&at("notice_before"), "Notice before the work"),
        Field::line(&at("notice_after"), "Notice after the work"),
    ]);
    fields.into_iter().map(Field::optional).collect()
}
