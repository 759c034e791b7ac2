"""The rules, one module a topic; every module in this folder is found by itself."""

from importlib import import_module
from pkgutil import iter_modules

# A module that cannot be imported, or a name that is taken, must stop the program: no half catalogue.
for _module in iter_modules(__path__):
    import_module(f"{__name__}.{_module.name}")
