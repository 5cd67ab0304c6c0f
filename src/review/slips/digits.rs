//! Numbers with digits swapped or misread.

use crate::quantity::Decimal;

/// A decimal with two neighbouring digits in each other's place, for every pair that differs.
pub(super) fn swapped(decimal: &Decimal) -> Vec<Decimal> {
    let text = decimal.to_string();
    let places = places(&text);
    let swap = |pair: &[usize]| {
        let mut bytes = text.clone().into_bytes();
        bytes.swap(pair[0], pair[1]);
        parsed(bytes, &text)
    };
    places.windows(2).filter_map(swap).collect()
}

/// A decimal with one digit read as another, for every digit.
pub(super) fn misread(decimal: &Decimal) -> Vec<Decimal> {
    let text = decimal.to_string();
    let one = |at: usize| {
        let text = &text;
        (b'0'..=b'9').filter_map(move |digit| {
            let mut bytes = text.clone().into_bytes();
            bytes[at] = digit;
            parsed(bytes, text)
        })
    };
    places(&text).into_iter().flat_map(one).collect()
}

/// Where the digits stand, the power of ten left out.
fn places(text: &str) -> Vec<usize> {
    let mantissa = text.split('e').next().unwrap_or("");
    mantissa.char_indices().filter(|(_, c)| c.is_ascii_digit()).map(|(at, _)| at).collect()
}

fn parsed(bytes: Vec<u8>, before: &str) -> Option<Decimal> {
    let text = String::from_utf8(bytes).ok()?;
    if text == before { None } else { Decimal::parse(&text, false).ok() }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn texts(decimals: Vec<Decimal>) -> Vec<String> {
        decimals.iter().map(Decimal::to_string).collect()
    }

    #[test]
    fn neighbours_change_places_across_the_mark() {
        let decimal = Decimal::parse("18.22", false).expect("a decimal");
        assert_eq!(texts(swapped(&decimal)), ["81.22", "12.82"]);
    }

    #[test]
    fn every_digit_becomes_nine_others() {
        let decimal = Decimal::parse("-0.5", false).expect("a decimal");
        assert_eq!(misread(&decimal).len(), 18);
        assert!(texts(misread(&decimal)).contains(&"-0.6".to_string()));
    }
}
