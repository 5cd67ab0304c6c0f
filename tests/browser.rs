//! What the tests of pages stand on: the browser is there, types, clicks, presses keys and takes pictures.

use crate::common::browser::{Browser, key};

const PAGE: &str = "data:text/html,<!doctype html><html lang=en><title>Pan</title><body style='margin:0'>\
    <label for=r>reading</label> <input id=r> <button aria-label='weigh again' \
    onclick='this.dataset.times = 1 %2B Number(this.dataset.times || 0)'>again</button>\
    <p style='width:900px;height:20px;background:%23048'></p></body></html>";

#[test]
fn a_page_is_opened_typed_into_and_read() {
    let browser = Browser::start(800, 600);
    browser.go(PAGE);
    assert_eq!(browser.title(), "Pan");
    let field = browser.find("#r");
    assert_eq!((field.role().as_str(), field.name().as_str()), ("textbox", "reading"));
    field.write("18.2749");
    assert_eq!(field.property("value"), "18.2749");
    field.clear();
    assert_eq!(field.property("value"), "");
    let button = browser.find("button");
    button.click();
    assert_eq!((button.name().as_str(), button.attribute("data-times").as_str()), ("weigh again", "1"));
    browser.press(key::ENTER);
    browser.wait_for("document.querySelector('button').dataset.times === '2'");
    browser.held(key::SHIFT, key::TAB);
    assert_eq!(browser.focused().name(), "reading");
    assert_eq!(browser.script_later("setTimeout(() => done(6 * 7), 5)"), 42);
    assert!(browser.console().is_empty());
}

#[test]
fn a_page_has_the_size_asked_for_and_is_seen() {
    let browser = Browser::start(1400, 700);
    browser.go(PAGE);
    assert_eq!(browser.script("return [innerWidth, innerHeight]"), serde_json::json!([1400, 700]));
    assert_eq!(browser.overflow(), 0);
    browser.size(375, 700);
    assert_eq!(browser.script("return innerWidth"), 375);
    assert_eq!(browser.overflow(), 900 - 375);
    // PNG (W3C): the signature, then the header with width and height.
    let picture = browser.picture();
    assert_eq!(picture.get(..8), Some(&b"\x89PNG\r\n\x1a\n"[..]));
    let number = |at: usize| u32::from_be_bytes(picture[at..at + 4].try_into().unwrap());
    assert_eq!((number(16), number(20)), (375, 700));
}
