"""From captures to a replica: structures searched, numbers fitted, proved on sound no fit has seen."""
