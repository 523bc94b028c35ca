"""The pour sheet: what goes to the bench on paper."""
