//! What is needed soon: a processor fetches it from memory in the meantime, and nobody waits for it.
//!
//! Of a few devices everything lies in a processor's own cache, and there is nothing to fetch. Of thousands nothing does.

/// Fetches the 64 bytes, as they come from memory at a time, in which `item` begins.
#[inline(always)]
pub(crate) fn fetch<T>(item: &T) {
    branches::prefetch_read_data::<_, 0>(item);
}
