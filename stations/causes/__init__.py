"""What may be wrong at a station, told apart from what its shots and their traces say."""
