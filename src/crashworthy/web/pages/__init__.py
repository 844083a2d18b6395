"""The pages of the web app, one router each."""
