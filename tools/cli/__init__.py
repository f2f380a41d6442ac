"""The command `xlate`: one module for each group of commands, imported when it is used."""
