//! What the page calls: a buffer for its question, the question put, a buffer with the answer.

// Exported names need an attribute that the compiler counts as unsafe; no code here is.
#![allow(unsafe_code)]

use std::cell::RefCell;

use crate::question::answer;
use crate::told::Tell;

thread_local! {
    static QUESTION: RefCell<Vec<u8>> = const { RefCell::new(Vec::new()) };
    static ANSWER: RefCell<String> = const { RefCell::new(String::new()) };
}

#[link(wasm_import_module = "env")]
unsafe extern "C" {
    /// The page's own function: a part of long work is done.
    safe fn told(done: f64);
}

/// Room for a question of so many bytes, and where it is.
#[unsafe(no_mangle)]
pub(crate) extern "C" fn question_at(length: usize) -> *mut u8 {
    QUESTION.with_borrow_mut(|question| {
        question.clear();
        question.resize(length, 0);
        question.as_mut_ptr()
    })
}

/// Answers the question in its buffer; how many bytes the answer has.
#[unsafe(no_mangle)]
pub(crate) extern "C" fn ask() -> usize {
    let question = QUESTION.with_borrow(|question| String::from_utf8_lossy(question).into_owned());
    let text = answer(&question, &Tell(|done| told(done)));
    let length = text.len();
    ANSWER.set(text);
    length
}

/// Where the answer is, until the next question.
#[unsafe(no_mangle)]
pub(crate) extern "C" fn answer_at() -> *const u8 {
    ANSWER.with_borrow(|answer| answer.as_ptr())
}
