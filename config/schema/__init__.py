"""The tables of an empty database: made at once from what the migrations made of one."""
