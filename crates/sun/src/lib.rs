//! Sun position, plane of array, panel, charger and the year-round energy balance.
