"""What is played: a recipe, its timetable to the sample, its sound, its cue sheet."""
