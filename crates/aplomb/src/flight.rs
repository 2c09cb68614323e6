//! All of the above wired: one step from samples and a command to motor commands.
