"""From a build sheet to one immutable quad."""
