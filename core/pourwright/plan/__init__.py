"""The pour plan: settings in, everything the bench needs out."""
