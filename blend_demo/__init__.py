"""Demo figures and studio pictures, built from code alone."""
