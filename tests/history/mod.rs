//! Past jobs: what they tell together, and the index that is made from their journals.

mod index;
pub mod made;
mod record;
mod tag;
