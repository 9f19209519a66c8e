"""The list of checks: name, function, what it claims."""

CHECKS = {}


def check(name):
    def keep(function):
        if name in CHECKS:
            raise ValueError(f"two checks are called {name}")
        CHECKS[name] = function
        return function

    return keep
