"""The kinds of alarm, one table for each subject. TABLE.md is written from them."""
