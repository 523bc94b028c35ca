"""Files: results written as a set that is either complete or not there at all."""
