//! Job files.

use sayback::job::{built_in, load};

#[test]
fn built_in_jobs_have_no_faults() {
    for id in ["centre-potentiometer", "set-ends", "meter-check"] {
        let text = built_in::text(id).unwrap();
        if let Err(faults) = load::parse(text, id) {
            panic!("{faults}");
        }
    }
}
