//! What the head of an answer tells: when one may ask again, and whether a redirect leads to what was asked for.

use domain::time::Instant;
use reqwest::Url;

/// A part of a degree by which a place in an address may be written otherwise: the service redirects to fewer digits.
const SAME_PLACE: f64 = 0.0006;

/// `Retry-After` by RFC 9110, section 10.2.3: a number of seconds, or a date.
pub fn seconds_until(text: &str, now: Instant) -> Option<u32> {
    let text = text.trim();
    if !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit()) {
        return Some(text.parse().unwrap_or(u32::MAX));
    }
    let at = jiff::fmt::rfc2822::parse(text).ok()?.timestamp();
    let seconds = at.as_second().saturating_sub(now.millis().div_euclid(1000));
    Some(u32::try_from(seconds.max(0)).unwrap_or(u32::MAX))
}

/// Whether two addresses ask for the same: word for word, but for the digits in which a place is written.
pub fn is_same_question(asked: &Url, sent_to: &Url) -> bool {
    let parts = |url: &Url| {
        let text =
            format!("{}?{}", url.path(), url.query().unwrap_or_default()).replace("%2C", ",").replace("%2c", ",");
        text.split(['/', ',', '?', '&', '=']).map(str::to_owned).collect::<Vec<_>>()
    };
    let same = |(one, other): (&String, &String)| {
        let numbers = one.parse::<f64>().ok().zip(other.parse::<f64>().ok());
        one == other || numbers.is_some_and(|(one, other)| (one - other).abs() < SAME_PLACE)
    };
    let (one, other) = (parts(asked), parts(sent_to));
    one.len() == other.len() && one.iter().zip(&other).all(same)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The example dates of RFC 9110, sections 5.6.7 and 10.2.3.
    #[test]
    fn when_to_ask_again_is_a_number_or_a_date() {
        let now = Instant::parse("1994-11-06T08:49:07Z").expect("an instant");
        assert_eq!(seconds_until("120", now), Some(120));
        assert_eq!(seconds_until("Sun, 06 Nov 1994 08:49:37 GMT", now), Some(30));
        assert_eq!(seconds_until("Sun, 06 Nov 1994 08:48:37 GMT", now), Some(0), "over");
        assert_eq!(seconds_until("99999999999999999999", now), Some(u32::MAX));
        for text in ["", "-5", "1.5", "soon", "2026-10-06T14:30:00Z"] {
            assert_eq!(seconds_until(text, now), None, "{text}");
        }
    }

    #[test]
    fn a_redirect_to_other_digits_of_a_place_asks_the_same() {
        let url = |path: &str| Url::parse(&format!("https://weather.example{path}")).expect("an address");
        let same = |one: &str, other: &str| is_same_question(&url(one), &url(other));
        assert!(same("/points/38.97,-76.49", "/points/38.9700,-76.4900"));
        assert!(same("/points/47.65529,-122.53541", "/points/47.6553,-122.5354"));
        assert!(same("/alerts/active?status=actual&point=1,2", "/alerts/active?status=actual&point=1%2C2"));
        assert!(!same("/gridpoints/MLB/26,68", "/gridpoints/MLB/27,68"));
        assert!(!same("/gridpoints/MLB/26,68", "/gridpoints/MLB/26,68/stations"));
        assert!(!same("/alerts/active/zone/FLC095", "/alerts/active/zone/FLC097"));
        assert!(!same("/alerts/active?point=38.97,-76.49", "/alerts/active?point=39.97,-76.49"));
    }
}
