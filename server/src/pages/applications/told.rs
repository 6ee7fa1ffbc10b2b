//! What a record tells beside its amounts, in words, as it is printed.

use crate::{
    acts::{
        particulars::{CredentialThen, DESTROYED, MachineThen, Particulars, PersonalTexts, ProductThen, SectionThen},
        seen::SeenFacts,
    },
    book::particulars::RecordParticulars,
    pages::{applications::seen::Observation, local::Local},
    store::{
        additions::{Addition, AdditionExplains},
        settings::DateOrder,
    },
};

const fn said(what: &'static str, words: String) -> Observation {
    Observation { what, words }
}

/// How days and moments are written.
#[derive(Debug, Clone, Copy)]
pub struct Written<'a> {
    pub local: &'a Local,
    pub dates: DateOrder,
}

/// What stood of everything that the record names.
pub fn stood(stood: &Particulars, texts: Option<&PersonalTexts>, written: Written<'_>) -> Vec<Observation> {
    let mut told = texts.map_or_else(|| vec![said("Client and site", "destroyed".to_owned())], people);
    told.push(said("ZIP code", stood.postal_code.clone()));
    let none = "● none valid on the day is on record".to_owned();
    let held = held(&stood.credentials, written.dates);
    told.push(said("Certificate", if held.is_empty() { none } else { held }));
    if !stood.credentials_not_valid.is_empty() {
        let not_valid = self::held(&stood.credentials_not_valid, written.dates);
        told.push(said("Certificate, not valid on the day", format!("● {not_valid}")));
    }
    if !stood.supervisor_credentials.is_empty() {
        told.push(said("Supervisor's certificate", self::held(&stood.supervisor_credentials, written.dates)));
    }
    told.extend(product(&stood.product, written.dates));
    told.extend(stood.lot_number.iter().map(|number| said("Lot", number.clone())));
    told.extend(stood.machine.iter().map(|machine| said("Machine", machine_words(machine, written.dates))));
    told.extend(stood.sections.iter().map(|section| said("Lawn section", section_words(section, written.dates))));
    told
}

/// What an addition explains, with its words.
pub fn explained(addition: &Addition) -> Option<Observation> {
    let AdditionExplains::LateEntry = addition.explains?;
    let words = addition.texts.as_ref().and_then(|texts| texts.reason.clone());
    Some(said("Why the record came late", words.unwrap_or_else(|| DESTROYED.to_owned())))
}

/// Sections that only a correction names.
pub fn sections_since(particulars: &RecordParticulars, written: Written<'_>) -> Vec<Observation> {
    let told = |section: &SectionThen| {
        let words = section_words(section, written.dates);
        let how = if particulars.sections_not_fixed.contains(&section.section_id) {
            "▲ Not fixed at writing: this is what is on file now"
        } else {
            "Fixed when it was corrected"
        };
        said("Lawn section, since corrected", format!("{words}. {how}"))
    };
    particulars.sections_since.iter().map(told).collect()
}

fn people(texts: &PersonalTexts) -> Vec<Observation> {
    let named = [
        ("Client", &texts.client),
        ("Mailing address", &texts.mailing_address),
        ("Telephone", &texts.telephone),
        ("Site", &texts.site_address),
        ("Applied by", &texts.applicator),
        ("Supervised by", &texts.supervisor),
    ];
    let mut told: Vec<Observation> =
        named.into_iter().filter_map(|(what, text)| Some(said(what, text.clone()?))).collect();
    if !texts.present.is_empty() {
        told.push(said("Also there", texts.present.join(", ")));
    }
    told
}

fn held(credentials: &[CredentialThen], dates: DateOrder) -> String {
    let one = |held: &CredentialThen| {
        let until = held.valid_until.map(|day| format!(" to {}", dates.day(day))).unwrap_or_default();
        format!("{}, {} ({}), valid from {}{until}", held.name, held.number, held.issued_by, dates.day(held.valid_from))
    };
    credentials.iter().map(one).collect::<Vec<_>>().join("; ")
}

fn product(product: &ProductThen, dates: DateOrder) -> Vec<Observation> {
    let mut told = vec![said(
        "Product",
        format!(
            "{}: {} % nitrogen, {} % slow nitrogen, {} % phosphate, {} % potash",
            product.name,
            product.nitrogen_percent,
            product.slow_nitrogen_percent,
            product.phosphate_percent,
            product.potash_percent
        ),
    )];
    if let Some(forms) = &product.nitrogen_forms {
        let named = [
            ("ammoniacal", forms.ammoniacal_percent),
            ("nitrate", forms.nitrate_percent),
            ("urea", forms.urea_percent),
            ("other water-soluble", forms.other_water_soluble_percent),
            ("slowly available water-soluble", forms.slowly_available_water_soluble_percent),
            ("water-insoluble", forms.water_insoluble_percent),
            ("coated slow-release", forms.coated_slow_release_percent),
        ];
        let named = named.into_iter().filter(|(_, percent)| percent.raw() > 0);
        let words: Vec<String> = named.map(|(form, percent)| format!("{percent} % {form}")).collect();
        told.push(said("Nitrogen forms", words.join(", ")));
    }
    if let Some(part) = &product.pesticide {
        told.push(said("EPA registration number", part.epa_registration.to_string()));
        told.extend(part.active_ingredients.iter().map(|words| said("Active ingredients", words.clone())));
        told.extend(part.target_pests.iter().map(|words| said("Used against", words.clone())));
        let reentry = part.reentry.clone().unwrap_or_else(|| "● not copied from the label".to_owned());
        told.push(said("People and pets stay off the treated ground", reentry));
    }
    told.extend(product.label_version.iter().map(|version| said("Label version", version.clone())));
    let copy = product.label_file.as_ref().map_or_else(
        || "● none is kept".to_owned(),
        |file| {
            let of = file.dated.map(|day| format!("of {}, ", dates.day(day))).unwrap_or_default();
            format!("kept, {of}SHA-256 {}", file.sha256)
        },
    );
    told.push(said("Copy of the label", copy));
    told
}

fn machine_words(machine: &MachineThen, dates: DateOrder) -> String {
    let Some(calibration) = &machine.calibration else {
        return format!("{}, {}; ● no calibration for this product and person", machine.name, machine.kind.label());
    };
    let setting = calibration.setting.as_ref().map(|setting| format!(" at setting {setting}")).unwrap_or_default();
    let rate = calibration.product_lb_per_1000_sqft.map(|rate| format!(", {rate} lb per 1,000 sq ft"));
    let old = calibration.too_old_by_days.map(|days| {
        let days = if days == 1 { "1 day".to_owned() } else { format!("{days} days") };
        format!("; ▲ {days} older than this machine's calibrations may be")
    });
    format!(
        "{}, {}; calibrated {}{setting}{}{}",
        machine.name,
        machine.kind.label(),
        dates.day(calibration.calibrated_on),
        rate.unwrap_or_default(),
        old.unwrap_or_default()
    )
}

fn section_words(section: &SectionThen, dates: DateOrder) -> String {
    let mut words = section.name.clone();
    words.extend(section.species.map(|species| format!(", {}", species.label())));
    words.extend(section.measurement.as_ref().map(|found| {
        let method = found.method.replace('_', " ");
        format!("; {} sq ft, measured {} ({method})", found.area_sqft, dates.day(found.measured_on))
    }));
    words.push_str(&section.soil_report.as_ref().map_or_else(
        || "; ● no soil report".to_owned(),
        |report| {
            let found = report.phosphorus.map(|found| format!(", phosphorus {}", found.label())).unwrap_or_default();
            format!("; soil sampled {} ({}){found}", dates.day(report.sampled_on), report.laboratory)
        },
    ));
    words
}

/// What a person saw or did.
pub fn seen(seen: &SeenFacts, written: Written<'_>) -> Vec<Observation> {
    let minute = |at| written.local.minute(at, written.dates);
    let mut told = Vec::new();
    told.extend(seen.amount_measured_by.map(|by| said("Amount measured by", by.label().to_owned())));
    told.extend(seen.machine_setting.iter().map(|setting| said("Setting", setting.clone())));
    told.extend(seen.kept_from_water_ft.map(|feet| said("Kept from water", format!("{feet} ft"))));
    told.extend(seen.kept_from_drains_ft.map(|feet| said("Kept from drains", format!("{feet} ft"))));
    told.extend(seen.wind_from.map(|from| said("Wind direction", from.label().to_owned())));
    told.extend(seen.sky.map(|sky| said("Sky", sky.label().to_owned())));
    told.extend(
        seen.watered_in.map(|watered| said("Watered in", format!("{}, by {}", minute(watered.at), watered.by.label()))),
    );
    told.extend(seen.label_instructions.iter().map(|one| {
        let kept = if one.kept { "✓ kept" } else { "■ not kept" };
        let passed = if one.passed_on { ", passed on to the client" } else { "" };
        said("Label instruction", format!("{}: {kept}{passed}", one.words))
    }));
    told.extend(seen.no_label_instruction.then(|| said("Label instruction", "none on the label".to_owned())));
    told.extend(seen.notices.iter().map(|notice| {
        said("Notice", format!("{}, {}, to {}", notice.kind.label(), minute(notice.at), notice.to.label()))
    }));
    told
}
