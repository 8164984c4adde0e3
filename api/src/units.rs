//! In which units a reader is told what is said in words. Texts are made once, in SI; who prefers United States customary
//! units gets them rewritten on the way out. Numbers in fields stay SI, as their names say.

use std::borrow::Cow;

use actix_web::HttpRequest;
use actix_web::http::header::{AcceptLanguage, Header, LanguageTag, Quality};
use rimeyard_rules::because;

/// The units of a reader.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Units {
    /// Millimetres, kilopascals, degrees Celsius.
    Si,
    /// Inches, pounds-force a square inch, degrees Fahrenheit.
    Customary,
}

/// Regions whose measurement system is `US` in the Unicode CLDR, supplemental data (from memory).
const CUSTOMARY_REGIONS: [&str; 3] = ["LR", "MM", "US"];

impl Units {
    /// What the languages that the reader's program asks for say of it: the first that names a measurement system
    /// (`en-US-u-ms-metric`; Unicode Technical Standard 35, part 1, key `ms`) or else a region. SI where none does.
    pub fn asked(request: &HttpRequest) -> Self {
        let Ok(mut languages) = AcceptLanguage::parse(request) else {
            return Units::Si;
        };
        // Of weight 0 is what is not wanted (RFC 9110, 12.4.2).
        languages.0.retain(|one| one.quality > Quality::ZERO);
        let ranked = languages.ranked().into_iter();
        ranked
            .filter_map(|language| language.into_item().as_ref().and_then(Self::told_by))
            .next()
            .unwrap_or(Units::Si)
    }

    fn told_by(language: &LanguageTag) -> Option<Self> {
        let customary = |is| if is { Units::Customary } else { Units::Si };
        let mut unicode = language
            .extension_subtags()
            .filter(|(singleton, _)| singleton.eq_ignore_ascii_case(&'u'))
            .flat_map(|(_, subtags)| subtags.split('-'));
        if unicode.any(|key| key.eq_ignore_ascii_case("ms"))
            && let Some(system) = unicode.next()
        {
            return Some(customary(system.eq_ignore_ascii_case("ussystem")));
        }
        let region = language.region()?;
        let listed = CUSTOMARY_REGIONS.iter();
        Some(customary(
            listed.clone().any(|one| one.eq_ignore_ascii_case(region)),
        ))
    }

    /// `text` as this reader is told it.
    pub fn say(self, text: &str) -> Cow<'_, str> {
        match self {
            Units::Si => Cow::Borrowed(text),
            Units::Customary => because::customary(text),
        }
    }
}

#[cfg(test)]
mod tests {
    use actix_web::http::header;
    use actix_web::test::TestRequest;

    use super::*;

    #[test]
    fn the_first_language_that_tells_decides() {
        let asked = |languages: &str| {
            let request = TestRequest::default()
                .insert_header((header::ACCEPT_LANGUAGE, languages))
                .to_http_request();
            Units::asked(&request)
        };
        for told in [
            "en-US",
            "en-us,en;q=0.9",
            "en, en-US;q=0.9, fr-FR;q=0.8",
            "fr-CA;q=0.5, en-US",
            "en-CA-u-ms-ussystem",
            "en-u-hc-h12-MS-USSYSTEM",
        ] {
            assert_eq!(asked(told), Units::Customary, "{told}");
        }
        for told in [
            "",
            "*",
            "en",
            "de-AT, en-US;q=0.5",
            "en-US-u-ms-metric",
            "en-US-u-ms-uksystem",
            "en-GB",
            "en, en-US;q=0",
            ";;",
        ] {
            assert_eq!(asked(told), Units::Si, "{told}");
        }
        assert_eq!(
            Units::asked(&TestRequest::default().to_http_request()),
            Units::Si
        );
    }
}
