//! Bench folders on disk: walking, reading with limits, atomic writes, edits that keep comments.
