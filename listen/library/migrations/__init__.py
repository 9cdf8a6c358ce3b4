"""Steps that lead an older library to the tables of this version; see `listen.library.schema`."""
