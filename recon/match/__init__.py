"""From bus numbers to slots: numbering rules, layouts over time, the as-of join."""
