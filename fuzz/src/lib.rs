//! What the fuzz targets run: the same functions that the tests run on the corpus that is kept.

#[path = "../../tests/hostile/bodies.rs"]
pub mod bodies;
