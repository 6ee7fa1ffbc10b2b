//! What a record must name in each state, against the regulations word by word: the reading notes keep them as one table.

use domain::{
    application::Audience,
    law::disclosure::RecordField::{self, *},
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
