//! Typed identifiers, in alphabetical order, and the code of a rule set. A client's id cannot be passed where a property's is
//! wanted.

use std::{fmt, hash::Hash, hash::Hasher, marker::PhantomData, str::FromStr};

use serde::{Deserialize, Deserializer, Serialize, Serializer};
use uuid::{Uuid, Variant};

/// What an identifier names.
pub trait IdKind: 'static {
    const NAME: &'static str;
    const SCHEMA: &'static str;
}

/// A UUID of one kind of thing. Version 7 where this system makes it; any RFC 9562 version that is not nil or max is read.
pub struct Id<K> {
    uuid: Uuid,
    kind: PhantomData<fn() -> K>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("must be a UUID such as 01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a10, neither nil nor max")]
pub struct BadId;

/// The pattern that every identifier follows, for the API document: an RFC 9562 UUID with a version and a variant, which
/// leaves out the nil and max values.
pub const ID_PATTERN: &str =
    "^[0-9a-fA-F]{8}-[0-9a-fA-F]{4}-[1-8][0-9a-fA-F]{3}-[89abAB][0-9a-fA-F]{3}-[0-9a-fA-F]{12}$";

impl<K> Id<K> {
    /// Takes a UUID that this system made.
    pub const fn from_uuid(uuid: Uuid) -> Self {
        Self { uuid, kind: PhantomData }
    }

    pub const fn uuid(self) -> Uuid {
        self.uuid
    }
}

impl<K> FromStr for Id<K> {
    type Err = BadId;

    fn from_str(text: &str) -> Result<Self, BadId> {
        let uuid = Uuid::try_parse(text).map_err(|_| BadId)?;
        let hyphenated = text.len() == 36;
        let versioned = (1..=8).contains(&uuid.get_version_num()) && uuid.get_variant() == Variant::RFC4122;
        if hyphenated && versioned { Ok(Self::from_uuid(uuid)) } else { Err(BadId) }
    }
}

impl<K> fmt::Display for Id<K> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.uuid.hyphenated().fmt(f)
    }
}

impl<K: IdKind> fmt::Debug for Id<K> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", K::NAME, self.uuid)
    }
}

impl<K> Clone for Id<K> {
    fn clone(&self) -> Self {
        *self
    }
}

impl<K> Copy for Id<K> {}

impl<K> PartialEq for Id<K> {
    fn eq(&self, other: &Self) -> bool {
        self.uuid == other.uuid
    }
}

impl<K> Eq for Id<K> {}

impl<K> PartialOrd for Id<K> {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}

impl<K> Ord for Id<K> {
    fn cmp(&self, other: &Self) -> std::cmp::Ordering {
        self.uuid.cmp(&other.uuid)
    }
}

impl<K> Hash for Id<K> {
    fn hash<H: Hasher>(&self, state: &mut H) {
        self.uuid.hash(state);
    }
}

impl<K> Serialize for Id<K> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de, K> Deserialize<'de> for Id<K> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = std::borrow::Cow::<'de, str>::deserialize(deserializer)?;
        text.parse().map_err(serde::de::Error::custom)
    }
}

impl<K: IdKind> utoipa::PartialSchema for Id<K> {
    fn schema() -> utoipa::openapi::RefOr<utoipa::openapi::Schema> {
        use utoipa::openapi::schema::{SchemaFormat, Type};
        utoipa::openapi::ObjectBuilder::new()
            .schema_type(Type::String)
            .format(Some(SchemaFormat::Custom("uuid".to_owned())))
            .description(Some(format!("Names one {}. An RFC 9562 UUID, neither nil nor max.", K::NAME)))
            .pattern(Some(ID_PATTERN))
            .min_length(Some(36))
            .max_length(Some(36))
            .examples(["01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a10"])
            .into()
    }
}

impl<K: IdKind> utoipa::ToSchema for Id<K> {
    fn name() -> std::borrow::Cow<'static, str> {
        K::SCHEMA.into()
    }
}

/// Declares the kinds of identifiers. A function cannot declare a type.
macro_rules! ids {
    ($($alias:ident of $kind:ident: $name:literal,)*) => {$(
        #[derive(Debug)]
        pub enum $kind {}
        impl IdKind for $kind {
            const NAME: &'static str = $name;
            const SCHEMA: &'static str = stringify!($alias);
        }
        pub type $alias = Id<$kind>;
    )*};
}

ids! {
    AdditionId of Addition: "addition",
    ApplicationId of Application: "application",
    AttemptId of Attempt: "refused attempt",
    CalibrationId of Calibration: "calibration",
    ClearanceId of Clearance: "clearance",
    ClientId of Client: "client",
    CorrectionId of Correction: "correction",
    CredentialId of Credential: "credential",
    DatedEntryId of DatedFacts: "dated entry",
    DeviceId of Device: "device",
    DivisionId of Division: "division",
    EquipmentId of Equipment: "equipment",
    LotId of Lot: "lot",
    MeasurementId of Measurement: "measurement",
    PassId of Pass: "pass",
    PersonId of Person: "person",
    ProductFileId of ProductFile: "product file",
    ProductId of Product: "product",
    ProgrammeId of Programme: "programme",
    PropertyId of Property: "property",
    RecordId of Record: "record",
    RuleSetUseId of RuleSetUse: "use of a rule set",
    SectionId of Section: "lawn section",
    SightingId of Sighting: "sighting",
    SoilReportId of SoilReport: "soil report",
    StockMovementId of StockMovement: "stock movement",
    VisitId of Visit: "visit",
}

/// The code of a rule set, which says where it holds: country, state, and the place inside of it.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(transparent)]
#[schema(min_length = 2, max_length = 60, pattern = "^[a-z0-9-]{2,60}$", example = "us-md")]
pub struct RuleSetCode(pub String);

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn upper_case_is_the_same_id_and_is_printed_in_lower_case() {
        let lower: Result<ClientId, _> = "01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a10".parse();
        assert_eq!(lower, "01938F0C-5C6E-7CC0-9D3A-2F6F0B1C7A10".parse());
        assert_eq!(lower.map(|id| id.to_string()).as_deref(), Ok("01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a10"));
    }

    #[test]
    fn nil_max_foreign_variants_and_other_spellings_are_refused() {
        for text in [
            "00000000-0000-0000-0000-000000000000",
            "ffffffff-ffff-ffff-ffff-ffffffffffff",
            "01938f0c-5c6e-7cc0-1d3a-2f6f0b1c7a10",
            "01938f0c5c6e7cc09d3a2f6f0b1c7a10",
            "{01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a10}",
            "urn:uuid:01938f0c-5c6e-7cc0-9d3a-2f6f0b1c7a10",
            "",
        ] {
            assert_eq!(text.parse::<ClientId>(), Err(BadId), "{text:?} was read as an id");
        }
    }
}
