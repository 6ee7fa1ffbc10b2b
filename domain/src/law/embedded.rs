//! The rule sets that are built in.

/// The law files, by name. A test compares this list with the folder.
pub const EMBEDDED: &[(&str, &str)] = &[
    ("company.toml", include_str!("../../law/company.toml")),
    ("us-ct.toml", include_str!("../../law/us-ct.toml")),
    ("us-dc.toml", include_str!("../../law/us-dc.toml")),
    ("us-de.toml", include_str!("../../law/us-de.toml")),
    ("us-fl-alachua.toml", include_str!("../../law/us-fl-alachua.toml")),
    ("us-fl-boynton-beach.toml", include_str!("../../law/us-fl-boynton-beach.toml")),
    ("us-fl-lake-mary.toml", include_str!("../../law/us-fl-lake-mary.toml")),
    ("us-fl-marion.toml", include_str!("../../law/us-fl-marion.toml")),
    ("us-fl-melbourne-beach.toml", include_str!("../../law/us-fl-melbourne-beach.toml")),
    ("us-fl-neptune-beach.toml", include_str!("../../law/us-fl-neptune-beach.toml")),
    ("us-fl-north-palm-beach.toml", include_str!("../../law/us-fl-north-palm-beach.toml")),
    ("us-fl-orange.toml", include_str!("../../law/us-fl-orange.toml")),
    ("us-fl-palm-shores.toml", include_str!("../../law/us-fl-palm-shores.toml")),
    ("us-fl-pinellas.toml", include_str!("../../law/us-fl-pinellas.toml")),
    ("us-fl-sarasota.toml", include_str!("../../law/us-fl-sarasota.toml")),
    ("us-fl.toml", include_str!("../../law/us-fl.toml")),
    ("us-il.toml", include_str!("../../law/us-il.toml")),
    ("us-in.toml", include_str!("../../law/us-in.toml")),
    ("us-ky.toml", include_str!("../../law/us-ky.toml")),
    ("us-ma-barnstable.toml", include_str!("../../law/us-ma-barnstable.toml")),
    ("us-ma-falmouth.toml", include_str!("../../law/us-ma-falmouth.toml")),
    ("us-ma-nantucket.toml", include_str!("../../law/us-ma-nantucket.toml")),
    ("us-ma.toml", include_str!("../../law/us-ma.toml")),
    ("us-md.toml", include_str!("../../law/us-md.toml")),
    ("us-me-portland.toml", include_str!("../../law/us-me-portland.toml")),
    ("us-me-south-portland.toml", include_str!("../../law/us-me-south-portland.toml")),
    ("us-me.toml", include_str!("../../law/us-me.toml")),
    ("us-mi-pittsfield.toml", include_str!("../../law/us-mi-pittsfield.toml")),
    ("us-mi-wolverine-lake.toml", include_str!("../../law/us-mi-wolverine-lake.toml")),
    ("us-mi.toml", include_str!("../../law/us-mi.toml")),
    ("us-mn-roseville.toml", include_str!("../../law/us-mn-roseville.toml")),
    ("us-mn-wright.toml", include_str!("../../law/us-mn-wright.toml")),
    ("us-mn.toml", include_str!("../../law/us-mn.toml")),
    ("us-nh.toml", include_str!("../../law/us-nh.toml")),
    ("us-nj.toml", include_str!("../../law/us-nj.toml")),
    ("us-ny-nassau.toml", include_str!("../../law/us-ny-nassau.toml")),
    ("us-ny-rockland.toml", include_str!("../../law/us-ny-rockland.toml")),
    ("us-ny-suffolk.toml", include_str!("../../law/us-ny-suffolk.toml")),
    ("us-ny-westchester.toml", include_str!("../../law/us-ny-westchester.toml")),
    ("us-ny.toml", include_str!("../../law/us-ny.toml")),
    ("us-oh-western-basin.toml", include_str!("../../law/us-oh-western-basin.toml")),
    ("us-oh.toml", include_str!("../../law/us-oh.toml")),
    ("us-pa.toml", include_str!("../../law/us-pa.toml")),
    ("us-va.toml", include_str!("../../law/us-va.toml")),
    ("us-vt.toml", include_str!("../../law/us-vt.toml")),
    ("us-wa-bellingham-lake.toml", include_str!("../../law/us-wa-bellingham-lake.toml")),
    ("us-wa-whatcom-lakes.toml", include_str!("../../law/us-wa-whatcom-lakes.toml")),
    ("us-wa.toml", include_str!("../../law/us-wa.toml")),
    ("us-wi-dane.toml", include_str!("../../law/us-wi-dane.toml")),
    ("us-wi.toml", include_str!("../../law/us-wi.toml")),
];

/// The code of the company's own set, which always takes part.
pub const COMPANY: &str = "company";

/// The file of the company's own set.
pub(super) const COMPANY_FILE: &str = "company.toml";

/// The code under which findings about the label are known.
pub const LABEL: &str = "label";
