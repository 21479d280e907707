"""An invented shop and a truck simulator. Nothing in it is a real truck."""
