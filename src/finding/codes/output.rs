//! Codes of writing results, and of accepting findings.

codes! {
    "Output", Job;

    ACCEPT_UNUSED "accept.unused" [Note]
        "The job accepts a finding that was not raised."
        "The reason has gone, or the finding has another code now. Take the entry out, so that it does not hide the finding next time.";
    ACCEPT_STALE "accept.stale" [Caution]
        "The job accepts a finding at another figure than it has now, or at none."
        "An acceptance counts for one value: copied into another job, or kept for another image, it would hide what nobody looked at. More than 10 % off (own rule), or no figure, and the finding stops again. Look at it anew; if it still holds, write the figure that the finding prints.";
    SETTINGS_CHANGED "settings.changed" [Note]
        "Keys were changed that stand otherwise in the job file."
        "A program changed keys of the job before it decided, so the job file alone does not make this map. The message and the record (changed) list each key with its value. Write them into the job file if the map is to be made again from it.";
    OUTPUT_MACHINE "output.machine" [Stop]
        "A format for the machine cannot be written, so no machine file is."
        "Machine files are written all or none, so that no terminal gets half a set. The message says what the format refused. Leave the format out of output.formats if the machine can do without it.";
    OUTPUT_FORMAT "output.format" [Caution]
        "A format for the office cannot be written; the other files are."
        "The message says what the format refused. Leave it out of output.formats, or correct what it names.";
    RIGHTS_KEPT "rights.kept" [Note]
        "The system does not let haulm give up the rights that a run does not need."
        "On Linux 5.19 or later haulm walls itself in before it opens an input: no network, no file but the job's. Elsewhere inputs are only checked before they are opened. Results are the same. Update the system if inputs come from people you do not know.";
    NEW_SCHEMA "new.schema" [Note]
        "A schema file that is not haulm's stands where the new one would go, and stays."
        "Editors then check the job by that file. Remove it and run haulm new again if you want the checks of haulm.";
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
