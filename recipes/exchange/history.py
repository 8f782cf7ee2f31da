"""What the history calls an import of recipes."""

from audit.vocabulary import register as action

RECIPES_IMPORTED = action("recipe.imported", "Imported recipes")
