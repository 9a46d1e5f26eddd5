"""Vector files (cases with an expected result and a source each) and what puts them through the product."""
