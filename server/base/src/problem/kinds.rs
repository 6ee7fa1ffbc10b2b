//! Every kind of problem, each with its page.

use axum::http::StatusCode;

/// Every kind of problem this server answers with. `KINDS` documents each one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    Malformed,
    NotSignedIn,
    NotAllowed,
    PasswordNeeded,
    NotFound,
    MethodNotAllowed,
    NotAcceptable,
    IdReused,
    WrittenAlready,
    Conflict,
    VersionOutdated,
    TooLarge,
    MediaType,
    Invalid,
    StoppedByRules,
    KeyReused,
    VersionRequired,
    TooMany,
    QuotaExceeded,
    TooSlow,
    Fault,
    StorageFailed,
    Busy,
}

/// What a person finds at `/problems/{slug}`.
#[derive(Debug)]
pub struct About {
    pub kind: Kind,
    pub slug: &'static str,
    pub status: StatusCode,
    pub title: &'static str,
    pub meaning: &'static str,
    pub way_out: &'static str,
    /// The help that goes further: a topic under `/help/`, and its section.
    pub help: &'static str,
}

pub const KINDS: [About; 23] = [
    About {
        kind: Kind::Malformed,
        slug: "malformed-request",
        status: StatusCode::BAD_REQUEST,
        title: "The request cannot be read",
        meaning: "The body is not JSON, the address carries a query that cannot be read, or a page cursor was not made by this server for this list.",
        way_out: "Correct what `errors` points at and send it again. Nothing was stored.",
        help: "api#what-is-refused-and-how",
    },
    About {
        kind: Kind::NotSignedIn,
        slug: "not-signed-in",
        status: StatusCode::UNAUTHORIZED,
        title: "Sign in first",
        meaning: "The request carries no token, or one that has ended.",
        way_out: "Sign in, or connect the phone again with a new code. Records waiting on a phone stay there and can be sent afterwards.",
        help: "people#connect-a-phone",
    },
    About {
        kind: Kind::NotAllowed,
        slug: "not-allowed",
        status: StatusCode::FORBIDDEN,
        title: "Not your role",
        meaning: "You are known, but this needs another role.",
        way_out: "Ask the office or the owner.",
        help: "people#roles",
    },
    About {
        kind: Kind::PasswordNeeded,
        slug: "password-needed",
        status: StatusCode::FORBIDDEN,
        title: "Show your password again",
        meaning: "You may do this, but it lets somebody in or shuts somebody out, so that a session alone is not enough. Nothing was changed.",
        way_out: "Send your password to the address in `confirm_at`, and then the same request again within five minutes. On a page, type it into the form's last field.",
        help: "people#what-asks-for-the-password-again",
    },
    About {
        kind: Kind::NotFound,
        slug: "not-found",
        status: StatusCode::NOT_FOUND,
        title: "Nothing here for you",
        meaning: "There is no such thing, or it is not yours to see. A technician sees the properties that they were sent to.",
        way_out: "Check the address. If a lawn is missing from your day, call the office.",
        help: "people#who-sees-which-lawn",
    },
    About {
        kind: Kind::MethodNotAllowed,
        slug: "method-not-allowed",
        status: StatusCode::METHOD_NOT_ALLOWED,
        title: "This address does not take that method",
        meaning: "The address exists, the method does not. The `Allow` header lists what does.",
        way_out: "Use a method that the API document lists for this address.",
        help: "api",
    },
    About {
        kind: Kind::NotAcceptable,
        slug: "not-acceptable",
        status: StatusCode::NOT_ACCEPTABLE,
        title: "Not offered in that form",
        meaning: "The `Accept` header names no form that this address has.",
        way_out: "Ask for one of the forms in `detail`.",
        help: "api",
    },
    About {
        kind: Kind::IdReused,
        slug: "id-reused",
        status: StatusCode::CONFLICT,
        title: "This id already names something else",
        meaning: "A record with this id is stored, and its content differs in the fields that `errors` names; or the id names a thing of another kind, whose address is in `existing`. What is stored stays as it is.",
        way_out: "If it is the same work, keep the stored record and send a correction. If it is other work, or a thing of another kind, send it under a new id.",
        help: "recording#one-record-however-often-it-is-sent",
    },
    About {
        kind: Kind::WrittenAlready,
        slug: "written-already",
        status: StatusCode::CONFLICT,
        title: "The same was written a moment ago",
        meaning: "You sent the very same visit, stock movement or delivery within the last minute; `existing` is its address. Nothing was stored a second time.",
        way_out: "If it is the same one, there is nothing to do. If it is a second one, send it with an `Idempotency-Key`: a key that is new says that the thing is new.",
        help: "api#send-again-without-harm",
    },
    About {
        kind: Kind::Conflict,
        slug: "conflict",
        status: StatusCode::CONFLICT,
        title: "That does not go together with what is stored",
        meaning: "The request is well-formed, but the records have changed since or say otherwise.",
        way_out: "Read `detail`, look at the present state, and decide again.",
        help: "first-day#forms",
    },
    About {
        kind: Kind::VersionOutdated,
        slug: "version-outdated",
        status: StatusCode::PRECONDITION_FAILED,
        title: "Somebody changed it since you read it",
        meaning: "The version in `If-Match` is not the stored one. Nothing was changed.",
        way_out: "Read it again, put your change on top, and send it with the new version.",
        help: "first-day#forms",
    },
    About {
        kind: Kind::TooLarge,
        slug: "too-large",
        status: StatusCode::PAYLOAD_TOO_LARGE,
        title: "The body is too large",
        meaning: "Bodies are limited to 1 MiB, files to 4 MiB.",
        way_out: "Send less at once.",
        help: "api#limits",
    },
    About {
        kind: Kind::MediaType,
        slug: "media-type",
        status: StatusCode::UNSUPPORTED_MEDIA_TYPE,
        title: "The body is of another kind",
        meaning: "The `Content-Type` is not one that this address takes: `application/json`, and for files PDF, PNG or JPEG.",
        way_out: "Send one of the kinds in `detail`, with its `Content-Type`.",
        help: "products#label-and-safety-data-sheet",
    },
    About {
        kind: Kind::Invalid,
        slug: "invalid",
        status: StatusCode::UNPROCESSABLE_ENTITY,
        title: "Some values do not fit",
        meaning: "The request can be read, but the values that `errors` points at are missing, unknown, out of range or contradict each other. All faults are listed, the first 500 where there are more; a body of more than 12,000 values is not read. Nothing was stored.",
        way_out: "Correct every one of them and send it again.",
        help: "api#what-is-refused-and-how",
    },
    About {
        kind: Kind::StoppedByRules,
        slug: "stopped-by-rules",
        status: StatusCode::UNPROCESSABLE_ENTITY,
        title: "Stop: a rule forbids it",
        meaning: "At least one rule of law, label or company forbids this, or cannot be answered. `findings` lists every one with its citation and what would clear it. No record changed; the attempt is kept.",
        way_out: "Clear the findings. If the work has truly been done, send the record again with every stopping finding's `key` in `acknowledged` and a `reason`: it is then stored, marked beyond the rules, and put on the owner's list.",
        help: "recording#when-a-record-is-refused",
    },
    About {
        kind: Kind::KeyReused,
        slug: "idempotency-key-reused",
        status: StatusCode::UNPROCESSABLE_ENTITY,
        title: "This Idempotency-Key was used for another request",
        meaning: "The same key came with other content. Nothing was stored.",
        way_out: "Make a new key for each new request; repeat a key only with the very same request.",
        help: "api#send-again-without-harm",
    },
    About {
        kind: Kind::VersionRequired,
        slug: "version-required",
        status: StatusCode::PRECONDITION_REQUIRED,
        title: "Say which version you change",
        meaning: "What can change is changed only with `If-Match`, so that nobody's work is overwritten unseen.",
        way_out: "Read it, take `version`, and send `If-Match: \"v\" + version` in quotes, such as `If-Match: \"v3\"`.",
        help: "api#change-what-is-stored",
    },
    About {
        kind: Kind::TooMany,
        slug: "too-many-requests",
        status: StatusCode::TOO_MANY_REQUESTS,
        title: "Too many tries",
        meaning: "Signing in, codes, connecting a phone, and reading with a pass are limited, by name, by address and together.",
        way_out: "Wait as long as `Retry-After` says, then try again.",
        help: "people#passwords-and-wrong-tries",
    },
    About {
        kind: Kind::QuotaExceeded,
        slug: "quota-exceeded",
        status: StatusCode::TOO_MANY_REQUESTS,
        title: "More than one share",
        meaning: "Everybody who is signed in, and every address, may ask for so much a minute, so that nobody waits behind somebody else. `violated-policies` names whose share is spent, `RateLimit` what is left. Nothing was stored.",
        way_out: "Wait as long as `Retry-After` says, then send it again. A phone does so by itself.",
        help: "server#fair-shares",
    },
    About {
        kind: Kind::TooSlow,
        slug: "too-slow",
        status: StatusCode::REQUEST_TIMEOUT,
        title: "The rest of it did not come",
        meaning: "The head of the request came, and then no more of its body for a while. Nothing was stored.",
        way_out: "Send it again. A record under its own id is stored once, however often it is sent.",
        help: "server#fair-shares",
    },
    FAULT,
    About {
        kind: Kind::StorageFailed,
        slug: "storage-failed",
        status: StatusCode::SERVICE_UNAVAILABLE,
        title: "Records cannot be saved just now",
        meaning: "The disk under the records refused a write or a read: it is full, failing or not there; or their file was moved, replaced or deleted under the running server, which `detail` says then. This request was not acknowledged, and all that was acknowledged before stands.",
        way_out: "Keep what you sent and send it again after `Retry-After` seconds; a record under its own id is stored once. The server goes on by itself once the disk does; the operator makes room, looks at the disk or puts the file back.",
        help: "server#watch-it",
    },
    About {
        kind: Kind::Busy,
        slug: "busy",
        status: StatusCode::SERVICE_UNAVAILABLE,
        title: "Not just now",
        meaning: "The server is stopping, or the database did not answer in time.",
        way_out: "Try again after `Retry-After` seconds.",
        help: "server#watch-it",
    },
];

const FAULT: About = About {
    kind: Kind::Fault,
    slug: "fault",
    status: StatusCode::INTERNAL_SERVER_ERROR,
    title: "A fault of this server",
    meaning: "Something went wrong that is not your doing. It is logged under the request id in `instance`.",
    way_out: "Try again. A record sent under its own id is stored once, however often it is sent. If it goes on, give the operator the request id.",
    help: "server#watch-it",
};

impl Kind {
    pub fn about(self) -> &'static About {
        // Every kind stands in the table; a test asks for each.
        KINDS.iter().find(|about| about.kind == self).unwrap_or(&FAULT)
    }

    /// The kind that fits a bare status, for replies that a library made.
    pub(super) fn of_status(status: StatusCode) -> Self {
        match status {
            StatusCode::UNAUTHORIZED => Self::NotSignedIn,
            StatusCode::FORBIDDEN => Self::NotAllowed,
            StatusCode::NOT_FOUND => Self::NotFound,
            StatusCode::METHOD_NOT_ALLOWED => Self::MethodNotAllowed,
            StatusCode::NOT_ACCEPTABLE => Self::NotAcceptable,
            StatusCode::PAYLOAD_TOO_LARGE => Self::TooLarge,
            StatusCode::UNSUPPORTED_MEDIA_TYPE => Self::MediaType,
            StatusCode::UNPROCESSABLE_ENTITY => Self::Invalid,
            StatusCode::TOO_MANY_REQUESTS => Self::TooMany,
            StatusCode::REQUEST_TIMEOUT => Self::TooSlow,
            StatusCode::SERVICE_UNAVAILABLE | StatusCode::GATEWAY_TIMEOUT => Self::Busy,
            status if status.is_client_error() => Self::Malformed,
            _ => Self::Fault,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_kind_is_documented_once() {
        for about in &KINDS {
            assert_eq!(about.kind.about().slug, about.slug);
            assert!(about.status.is_client_error() || about.status.is_server_error());
            assert_eq!(KINDS.iter().filter(|other| other.slug == about.slug).count(), 1);
        }
    }
}
