"""Site to loop: the allowed region, its rounding, crossings, keep-outs, the lead-in and the wiring sequence."""
