//! Physical quantities as the trade writes them: units, parsing with positions, rounding and printing.
