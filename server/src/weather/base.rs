//! The addresses of weather services. They come from the operator's configuration alone and are checked before anything is
//! served; no request of a client can name one.

use reqwest::Url;

/// What may be behind an address.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Host {
    /// The US National Weather Service, and nobody else.
    PublicService,
    /// A host of the operator's choice, by name.
    Operators,
}

/// The one host of the public service.
pub const PUBLIC_HOST: &str = "api.weather.gov";

/// Reads and checks a base address. `stand_in` lets plain HTTP to this machine through, for tests and the demonstration.
pub fn check(text: &str, host: Host, stand_in: bool) -> Result<Url, String> {
    let url = Url::parse(text).map_err(|error| format!("{text} is no address: {error}"))?;
    if !url.username().is_empty() || url.password().is_some() {
        return Err("the address of a weather service must not carry a name or password".to_owned());
    }
    if url.query().is_some() || url.fragment().is_some() || url.path() != "/" {
        return Err(format!("{text} must be scheme and host alone, without path, query or fragment"));
    }
    let name = url.host_str().unwrap_or_default().to_owned();
    let loopback = name == "localhost" || name.trim_matches(['[', ']']).parse().is_ok_and(is_loopback);
    match url.scheme() {
        "http" if stand_in && loopback => return Ok(url),
        "https" => {}
        _ => return Err(format!("{text} must begin with https")),
    }
    let is_name = name.contains('.') && name.trim_matches(['[', ']']).parse::<std::net::IpAddr>().is_err();
    match host {
        Host::PublicService if name != PUBLIC_HOST => Err(format!("{name} is not {PUBLIC_HOST}")),
        Host::Operators if !is_name => Err(format!("{name} must be the name of a host, not a number")),
        _ => Ok(url),
    }
}

fn is_loopback(address: std::net::IpAddr) -> bool {
    address.is_loopback()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_the_service_itself_is_asked() {
        assert!(check("https://api.weather.gov", Host::PublicService, false).is_ok());
        assert!(check("https://customer-api.open-meteo.com", Host::Operators, false).is_ok());
        assert!(check("http://127.0.0.1:8089", Host::PublicService, true).is_ok());
        assert!(check("http://[::1]:8089", Host::PublicService, true).is_ok());
        for (text, stand_in) in [
            ("http://api.weather.gov", false),
            ("http://api.weather.gov", true),
            ("http://127.0.0.1:8089", false),
            ("http://10.0.0.1", true),
            ("https://api.weather.gov@evil.test", false),
            ("https://evil.test", false),
            ("https://api.weather.gov.evil.test", false),
            ("https://169.254.169.254", false),
            ("https://api.weather.gov/?x=1", false),
            ("https://api.weather.gov/#x", false),
            ("https://api.weather.gov/points", false),
            ("file:///etc/passwd", false),
            ("api.weather.gov", false),
        ] {
            assert!(check(text, Host::PublicService, stand_in).is_err(), "{text} was let through");
        }
        for text in ["https://169.254.169.254", "https://[fd00::1]", "https://localhost", "http://weather.example"] {
            assert!(check(text, Host::Operators, false).is_err(), "{text} was let through");
        }
    }
}
