"""The mould: box, rubber, the air that the rubber traps, and where the knife goes."""
