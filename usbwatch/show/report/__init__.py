"""Reports for somebody who has not seen the unit: made once as a value, redacted, then rendered."""
