//! The command line: arguments, one file a command, printing.
