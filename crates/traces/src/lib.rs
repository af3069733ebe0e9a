//! Current traces: readers of any layout, the one-pass analysis, phases, the stored form with its pyramid.
