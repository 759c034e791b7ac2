"""The rules, one module a topic; every module in this folder is found by itself."""
