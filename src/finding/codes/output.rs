//! Codes of writing results, and of accepting findings.

codes! {
    "Output", Job;

    ACCEPT_UNUSED "accept.unused" [Note]
        "The job accepts a finding that was not raised."
        "The reason has gone, or the finding has another code now. Take the entry out, so that it does not hide the finding next time.";
    OUTPUT_STAGE "output.stage" [Note]
        "All files are written, but a hidden working folder could not be removed."
        "The next run removes it. Check the rights of the folder if it stays.";
    OUTPUT_OVERWRITTEN "output.overwritten" [Caution]
        "Files that had been changed since haulm wrote them were replaced."
        "You asked for it with --overwrite. If somebody edited rates by hand, those edits are gone.";
    OUTPUT_STRANGER "output.stranger" [Caution]
        "The output folder holds files that are not of this run."
        "They were left there. A terminal may load an old map from such a folder, so remove them before it goes to the machine.";
    OUTPUT_INTERRUPTED "output.interrupted" [Note, Caution]
        "An earlier run was interrupted while it wrote the folder."
        "It is completed or undone by the next run that writes; a note says which. Until then (a caution) do not use the files of the folder.";
}
