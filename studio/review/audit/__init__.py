"""A teacher judges moments by ear without knowing which of them the program had marked."""
