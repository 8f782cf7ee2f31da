"""The grid."""
