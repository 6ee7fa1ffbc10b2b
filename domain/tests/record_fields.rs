//! What a record must name in each state, against the regulations word by word: the reading notes keep them as one table.

use domain::{
    application::Audience,
    law::{
        Bound,
        disclosure::RecordField::{self, *},
    },
};

use crate::facts::{book, day};

#[test]
fn a_record_names_what_each_regulation_lists_and_nothing_else() {
    let book = book();
    let regulations: [(&str, &str, &[RecordField]); 4] = [
        (
            "us-md",
            "COMAR 15.20.10.13 B(1)-(8) (MD-27)",
            &[SiteAddress, ApplicatorName, Date, AreaTreated, LabelCopy, NutrientAnalysis, Rate, TotalAmount],
        ),
        (
            "us-ma",
            "330 CMR 31.07(1)(c)-(h) (MA-10)",
            &[SiteAddress, AreaTreated, ProductName, NutrientAnalysis, Rate, EquipmentOrMethod, SoilTestResult],
        ),
        (
            "us-de",
            "3 DE Admin. Code 1201-12.3 (DE-05)",
            &[SiteAddress, Date, AreaTreated, TotalAmount, EquipmentOrMethod],
        ),
        (
            "us-ky",
            "302 KAR 26:080 s.1(3), from a quotation (KY-03)",
            &[
                CustomerName,
                CustomerAddress,
                ApplicatorName,
                LicenceNumber,
                Date,
                AreaTreated,
                ProductName,
                NutrientAnalysis,
                Rate,
                TotalAmount,
                ReasonForUse,
                SpecialLabelInstruction,
            ],
        ),
    ];
    for (code, source, listed) in regulations {
        let fields = book.record_fields(&[code.to_owned()], Audience::Professional, day("2026-05-15"));
        let fields: Vec<RecordField> = fields.iter().map(|required| required.field).collect();
        assert_eq!(fields, listed, "{source}");
    }
}

#[test]
fn the_record_of_a_combination_product_names_what_pesticide_law_lists_too() {
    let book = book();
    let listed = |code: &str, pesticide: bool| -> Vec<RecordField> {
        let bound = Bound { pesticide, ..Audience::Professional.into() };
        let fields = book.record_fields(&[code.to_owned()], bound, day("2026-05-15"));
        fields.iter().map(|required| required.field).collect()
    };
    let added = |code: &str| {
        let without = listed(code, false);
        listed(code, true).into_iter().filter(|field| !without.contains(field)).collect::<Vec<_>>()
    };
    // Minn. Stat. 18B.37: date, product, EPA number, rate, units treated, temperature, wind speed and direction, location,
    // customer, applicator and licence.
    let minnesota = [
        CustomerName,
        SiteAddress,
        ApplicatorName,
        LicenceNumber,
        Date,
        AreaTreated,
        ProductName,
        Rate,
        EpaRegistration,
        AirTemperature,
        WindSpeed,
        WindDirection,
    ];
    assert_eq!(added("us-mn"), minnesota);
    // Penn State Extension: date, site and customer, brand, EPA number, amount and rate, names and numbers.
    let pennsylvania = [
        CustomerName,
        SiteAddress,
        ApplicatorName,
        LicenceNumber,
        Date,
        ProductName,
        Rate,
        TotalAmount,
        EpaRegistration,
    ];
    assert_eq!(added("us-pa"), pennsylvania);
    // Ohio Adm. Code 901:5-11-10, as far as it was seen.
    let ohio = [CustomerName, SiteAddress, ApplicatorName, Date, AreaTreated, ProductName, EpaRegistration];
    assert_eq!(added("us-oh"), ohio);
    assert_eq!(added("us-md"), []);
    let bound = Bound { pesticide: true, ..Audience::Professional.into() };
    let hours =
        |bound: Bound| book.record_deadline(&["us-pa".to_owned()], bound, day("2026-05-15")).map(|found| found.0.hours);
    assert_eq!((hours(bound), hours(Audience::Professional.into())), (Some(Some(24)), None));
}
