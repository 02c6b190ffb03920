"""The kinds of alarm, one table a subject. TABLE.md is made from them."""
