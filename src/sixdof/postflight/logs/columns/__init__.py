"""Column maps and the tables of files they are about: what is which column, in which unit and axes."""
