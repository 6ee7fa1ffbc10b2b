//! The registration number of a pesticide, as it is printed on a combination product.

use std::{fmt, str::FromStr};

use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// Company number, product number and, for a distributor's product, the distributor's number: `6767-230`,
/// `100-1234-5678`. The label bears it (40 CFR 156.10(e)). Company 1 to 7 digits, product 1 to 5, distributor 1 to 7 (EPA Label Review Manual, chapter 14;
/// California Department of Pesticide Regulation).
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct EpaRegistration(String);

pub const EPA_REGISTRATION_PATTERN: &str = "^[0-9]{1,7}-[0-9]{1,5}(-[0-9]{1,7})?$";

#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum EpaFault {
    #[error("a number with letters after the dash is a file symbol: the product is not registered yet")]
    FileSymbol,
    #[error(
        "write company and product number such as 6767-230, and the distributor's number after them if there is one"
    )]
    NotANumber,
}

impl FromStr for EpaRegistration {
    type Err = EpaFault;

    fn from_str(text: &str) -> Result<Self, EpaFault> {
        let digits = |part: &str, most: usize| {
            (1..=most).contains(&part.len()) && part.bytes().all(|byte| byte.is_ascii_digit())
        };
        let parts: Vec<&str> = text.split('-').collect();
        let good = match parts.as_slice() {
            [company, product] => digits(company, 7) && digits(product, 5),
            [company, product, distributor] => digits(company, 7) && digits(product, 5) && digits(distributor, 7),
            _ => false,
        };
        // A file symbol writes the product number in the letters R E G U L A T I O N.
        let symbol = matches!(parts.as_slice(), [company, symbol] if digits(company, 7)
            && !symbol.is_empty() && symbol.bytes().all(|byte| b"REGULATION".contains(&byte)));
        match (good, symbol) {
            (true, _) => Ok(Self(text.to_owned())),
            (false, true) => Err(EpaFault::FileSymbol),
            (false, false) => Err(EpaFault::NotANumber),
        }
    }
}

impl EpaRegistration {
    /// Company and product number, by which it is the same pesticide, whoever distributes it: a distributor's number is added to
    /// that of the basic product (40 CFR 152.132(d)).
    pub fn basic(&self) -> [u32; 2] {
        let mut numbers = self.0.split('-').map(|part| part.parse().unwrap_or_default());
        [numbers.next().unwrap_or_default(), numbers.next().unwrap_or_default()]
    }
}

impl fmt::Display for EpaRegistration {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.0)
    }
}

impl Serialize for EpaRegistration {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(&self.0)
    }
}

impl<'de> Deserialize<'de> for EpaRegistration {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = std::borrow::Cow::<'de, str>::deserialize(deserializer)?;
        text.parse().map_err(serde::de::Error::custom)
    }
}

impl utoipa::PartialSchema for EpaRegistration {
    fn schema() -> utoipa::openapi::RefOr<utoipa::openapi::Schema> {
        utoipa::openapi::ObjectBuilder::new()
            .schema_type(utoipa::openapi::schema::Type::String)
            .description(Some("EPA registration number: company, product and, if any, distributor."))
            .pattern(Some(EPA_REGISTRATION_PATTERN))
            .max_length(Some(21))
            .examples(["6767-230"])
            .into()
    }
}

impl utoipa::ToSchema for EpaRegistration {
    fn name() -> std::borrow::Cow<'static, str> {
        "EpaRegistration".into()
    }
}
