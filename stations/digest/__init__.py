"""A site's week: what changed there, on a page, by API, and in one mail."""
