//! From readings to defended figures: uncertainty budget, burden, settling, bill, voltage sweep, ride-through, disagreement.
