"""The one exception for a mistake that the user can mend; the command line prints it and exits with 2."""


class UserError(Exception):
    """A sentence for the user: what is wrong, where, the value found, what is allowed, what to do."""
