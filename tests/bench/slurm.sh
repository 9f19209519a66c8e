#!/bin/bash
# The guide's Slurm recipe (docs/guide/beyond-one-machine.md), tried as it stands there, on a Slurm of this machine's own.
#
#     tests/bench/slurm.sh HAULM FARM_FOLDER
#
# FARM_FOLDER holds all that the farm needs, farm.toml in it or below it: tests/bench/slurm.sh target/release/haulm demo. It is copied, never written to.
# Needs root on Debian 12: Slurm comes from Debian's packages, which stay installed; daemons, farm and settings lie in a folder that goes at the end.
# Of the recipe the number of shares (20 becomes 4) and of processors (4 becomes 1) are replaced, nothing else. Tried are: all shares, two at a time; one killed,
# one cancelled and one begun again in the middle; one share by itself; a share that does not exist. Files are compared with those of one run by itself.
# Closes with "N passed, N failed".
set -u
[ $# = 2 ] || { echo "usage: tests/bench/slurm.sh HAULM FARM_FOLDER" >&2; exit 2; }
[ "$(id -u)" = 0 ] || { echo "must be root: Slurm's daemons are started" >&2; exit 2; }
haulm=$(realpath "$1") && folder=$(realpath "$2") && guide=$(realpath "$(dirname "$0")/../../docs/guide/beyond-one-machine.md") || exit 2

shares=4 passed=0 failed=0 daemons=()
# Munge's socket has to be within reach of everybody.
scratch=$(mktemp -d) && chmod 755 "$scratch" || exit 1

close() {
    local status=$? pid
    # What is still running is ended first, so that no step is left without its daemon.
    [ ${#daemons[@]} = 0 ] || scancel --user root --signal KILL --full > /dev/null 2>&1
    for ((at = ${#daemons[@]} - 1; at >= 0; at--)); do
        kill "${daemons[at]}" 2> /dev/null
        for _ in {1..50}; do kill -0 "${daemons[at]}" 2> /dev/null || break; sleep 0.1; done
        kill -9 "${daemons[at]}" 2> /dev/null
        wait "${daemons[at]}" 2> /dev/null
    done
    pid=$(process_of) && kill -9 "$pid"
    rm -rf "$scratch"
    [ "$status" = 0 ] || [ "$failed" -gt 0 ] || failed=1
    echo "$passed passed, $failed failed"
    [ "$failed" = 0 ] && [ "$passed" -gt 0 ] && exit 0
    exit 1
}

stop() {
    echo "FAILED $*"
    exit 1
}

# check NAME HELD [NOTICE]: HELD is the status of what was tried.
check() {
    if [ "$2" = 0 ]; then
        passed=$((passed + 1))
        echo "ok     $1"
    else
        failed=$((failed + 1))
        echo "FAILED $1${3:+: $3}"
    fi
}

# equal NAME FOUND EXPECTED
equal() {
    [ "$2" = "$3" ]
    check "$1" $? "$2, not $3"
}

# The number of a process of this trial's haulm, by its program file: of one share, or of any.
process_of() {
    local process words
    for process in /proc/[0-9]*; do
        [ "$process/exe" -ef "$scratch/bin/haulm" ] || continue
        mapfile -d '' words < "$process/cmdline" 2> /dev/null
        [ $# = 0 ] || [[ " ${words[*]} " == *" --shard $1/$shares "* ]] || continue
        echo "${process#/proc/}"
        return
    done
    return 1
}

rows() { find "$output/rows" -name '*.json' ! -name '.*' 2> /dev/null | wc -l; }

# freeze SHARE ROWS: stops the process of a share as soon as the farm has so many rows, so that it is hit in its middle however fast the machine is.
freeze() {
    local pid end=$((SECONDS + 120))
    while [ $SECONDS -lt $end ]; do
        if [ "$(rows)" -ge "$2" ] && pid=$(process_of "$1") && kill -STOP "$pid" 2> /dev/null; then
            echo "$pid"
            return
        fi
    done
    return 1
}

# ended JOB...: waits until Slurm has none of them any more.
ended() {
    local job end=$((SECONDS + 900))
    for job in "$@"; do
        while [ -n "$(squeue --noheader --jobs "$job" 2> /dev/null)" ]; do
            [ $SECONDS -lt $end ] || stop "job $job does not end: $(squeue --noheader --jobs "$job" --format '%i %T %r')"
            sleep 0.5
        done
    done
}

# of JOB WORD: what Slurm says of a job, such as JobState.
of() { scontrol show job --oneliner "$1" | grep -oE "(^| )$2=[^ ]*" | cut -d= -f2 | head -1; }

# submitted: the second block of the recipe; sets tasks and last.
submitted() {
    local said
    said=$(cd "$farm" && . "$scratch/submit" && echo "tasks $tasks") || stop "the recipe's jobs were not taken"
    tasks=$(sed -n 's/^tasks //p' <<< "$said") last=$(sed -n 's/^Submitted batch job //p' <<< "$said")
    [ -n "$tasks" ] && [ -n "$last" ] || stop "the recipe names no two jobs: $said"
}

# Every file of two output folders but the rows, which hold the time; of records all but the time, and that an earlier run was interrupted.
same_files() {
    python3 - "$1" "$2" << 'END'
import json, sys
from pathlib import Path

def files(folder):
    found = {}
    for path in sorted(Path(folder).rglob("*")):
        name = str(path.relative_to(folder))
        if not path.is_file() or name.startswith("rows/"):
            continue
        found[name] = path.read_bytes()
        if path.name == "record.json":
            record = json.loads(found[name])
            del record["made_at"]
            record["findings"] = [finding for finding in record["findings"] if finding["code"] != "output.interrupted"]
            found[name] = json.dumps(record)
    return found

one, other = map(files, sys.argv[1:])
differing = sorted(name for name in one.keys() | other.keys() if one.get(name) != other.get(name))
print(f"{len(one)} files" if one and not differing else f"{len(differing)} of {len(one)} files differ: {differing[:5]}")
sys.exit(not one or bool(differing))
END
}

# again: the farm as if nothing had been made.
again() { rm -rf "$output" "$farm"/slurm-*.out; }

trap close EXIT
trap 'exit 130' INT
trap 'exit 143' TERM

missing=()
for program in slurmctld slurmd munged:munge sbatch:slurm-client python3; do
    command -v "${program%:*}" > /dev/null || missing+=("${program#*:}")
done
if [ ${#missing[@]} -gt 0 ]; then
    export DEBIAN_FRONTEND=noninteractive
    # Where daemons of packages are started by themselves they would be in the way of nothing here: ports, keys and folders are the trial's own.
    { apt-get -qq update && apt-get -qq install -y --no-install-recommends "${missing[@]}"; } < /dev/null > "$scratch/apt.log" 2>&1 || { cat "$scratch/apt.log"; stop "Slurm is not installed"; }
fi

# The recipe: of its section the blocks that are set in by four blanks.
awk -v folder="$scratch" '
    /^## / { inside = $0 == "## Slurm" }
    inside && /^    / { if (!open) block++; open = 1; print substr($0, 5) > (folder "/block" block) }
    inside && /^[^ ]/ { open = 0 }' "$guide"
[ -f "$scratch/block1" ] && [ -f "$scratch/block2" ] && [ ! -f "$scratch/block3" ]
check "the guide has a script and what submits it" $? "$(ls "$scratch")"
sed -e "s/^#SBATCH --array=1-20$/#SBATCH --array=1-$shares/" -e "s,ARRAY_TASK_ID/20\",ARRAY_TASK_ID/$shares\"," -e 's/--cpus-per-task=4$/--cpus-per-task=1/' "$scratch/block1" > "$scratch/farm.sbatch"
sed -e 's/--cpus-per-task=4 /--cpus-per-task=1 /' -e 's/--threads 4 /--threads 1 /' "$scratch/block2" > "$scratch/submit"
equal "shares and processors are replaced" "$(cat "$scratch/block1" "$scratch/block2" | diff - <(cat "$scratch/farm.sbatch" "$scratch/submit") | grep -c '^>')" 4
equal "no other number of shares is left" "$(cat "$scratch/farm.sbatch" "$scratch/submit" | grep -cE '\b(20|cpus-per-task=4|threads 4)\b')" 0

# The farm, twice by turns at one place: refusals name files by their folder.
mkdir "$scratch/bin" && cp "$haulm" "$scratch/bin/haulm" && cp -r "$folder" "$scratch/farm" || exit 1
mapfile -t found < <(find "$scratch/farm" -name farm.toml)
[ ${#found[@]} = 1 ] || stop "one farm.toml is wanted in $folder, there are ${#found[@]}"
farm=$(dirname "${found[0]}")
output=$farm/$(sed -n 's/^output *= *"\(.*\)".*/\1/p' "$farm/farm.toml" | head -1)
[ "$output" != "$farm/" ] || stop "farm.toml names no output folder"
cp "$scratch/farm.sbatch" "$farm/farm.sbatch"
export PATH=$scratch/bin:$PATH
again
(cd "$farm" && haulm batch farm.toml --shard "3/$shares" --threads 1 --quiet) > /dev/null
third=$(ls "$output/rows")
again
(cd "$farm" && haulm batch farm.toml --threads 1 --quiet) > "$scratch/alone.txt"
alone=$?
[ "$alone" -le 1 ] || stop "one run by itself ends with $alone"
fields=$(rows)
mv "$output" "$scratch/expected"
echo "       one run by itself: $(sed -n 's/^ *Maps written *//p' "$scratch/alone.txt"), status $alone"

# Slurm: one node, this machine, on loopback alone. Nothing is limited by cgroups, which few sandboxes and containers give away.
export SLURM_CONF=$scratch/slurm.conf
host=$(hostname -s)
mkdir "$scratch/state" "$scratch/spool"
printf 'CgroupAutomount=no\nIgnoreSystemd=yes\nIgnoreSystemdOnFailure=yes\n' > "$scratch/cgroup.conf"
cat > "$SLURM_CONF" << END
ClusterName=trial
SlurmctldHost=$host(127.0.0.1)
SlurmctldPort=26817
SlurmdPort=26818
SlurmUser=root
SlurmdUser=root
AuthType=auth/munge
CredType=cred/munge
# A job that is sent again waits until its earlier credential has run out: two minutes otherwise.
AuthInfo=socket=$scratch/munge.socket,cred_expire=5
CommunicationParameters=NoCtldInAddrAny,NoInAddrAny
StateSaveLocation=$scratch/state
SlurmdSpoolDir=$scratch/spool
SlurmctldPidFile=$scratch/slurmctld.pid
SlurmdPidFile=$scratch/slurmd.pid
ProctrackType=proctrack/linuxproc
TaskPlugin=task/none
JobAcctGatherType=jobacct_gather/none
AccountingStorageType=accounting_storage/none
SwitchType=switch/none
MpiDefault=none
SelectType=select/cons_tres
SelectTypeParameters=CR_CPU_Memory
MinJobAge=3600
ReturnToService=2
NodeName=$host NodeAddr=127.0.0.1 CPUs=2 RealMemory=$(awk '/^MemTotal:/ { print int($2 / 1024 * 0.95) }' /proc/meminfo) State=UNKNOWN
PartitionName=trial Nodes=$host Default=YES MaxTime=INFINITE State=UP
END
daemon() {
    local log=$scratch/$1.log
    "$@" > "$log" 2>&1 &
    daemons+=($!)
}
(umask 077 && head -c 128 /dev/urandom > "$scratch/munge.key")
daemon munged --foreground --key-file "$scratch/munge.key" --socket "$scratch/munge.socket" --pid-file "$scratch/munged.pid" --seed-file "$scratch/munged.seed"
for _ in {1..100}; do [ -S "$scratch/munge.socket" ] && break; sleep 0.1; done
daemon slurmctld -D
daemon slurmd -D
for _ in {1..100}; do [ "$(sinfo --noheader --format %T 2> /dev/null)" = idle ] && break; sleep 0.3; done
[ "$(sinfo --noheader --format %T 2> /dev/null)" = idle ] || { tail -n 5 "$scratch"/{munged,slurmctld,slurmd}.log; stop "Slurm does not come up"; }
version=$(sinfo --version)

# All shares, two at a time, and the last job.
again
submitted
ended "$tasks" "$last"
for share in $(seq $shares); do
    equal "share $share ends well" "$(of "${tasks}_$share" JobState) $(of "${tasks}_$share" ExitCode)" "COMPLETED 0:0"
done
equal "the last job ends as one run by itself" "$(of "$last" ExitCode)" "$alone:0"
began=$(for share in 1 2; do date -d "$(of "${tasks}_$share" StartTime)" +%s; done | paste -sd-)
[ "$((began))" -ge -1 ] && [ "$((began))" -le 1 ]
check "the first two shares begin together" $? "$began"
grep -q 'made now 0,' "$farm/slurm-$last.out"
check "the last job finds all work done" $? "$(sed -n 's/^ *Maps written *//p' "$farm/slurm-$last.out")"
said=$(same_files "$scratch/expected" "$output")
check "all files are those of one run by itself" $? "$said"
echo "       $(grep -l 'output.busy' "$farm"/slurm-"$tasks"_*.out | wc -l) of $shares shares ended while another was putting the tables together"

# One share killed, one cancelled, one begun again, each in its middle.
again
submitted
one=$(freeze 1 1) && two=$(freeze 2 1) || stop "the first two shares are not caught while they run"
kill -9 "$one"
scancel "${tasks}_2"
now=$(rows)
three=$(freeze 3 $((now + 1))) || stop "the third share is not caught while it runs"
scontrol requeue "${tasks}_3"
stored=$(find "$output/rows" -name '*.json' ! -name '.*' -printf '%f %T@\n' | sort)
ended "$tasks" "$last"
equal "the killed share is a failed task" "$(of "${tasks}_1" JobState) $(of "${tasks}_1" ExitCode)" "FAILED 137:0"
equal "the cancelled one is a cancelled task" "$(of "${tasks}_2" JobState)" CANCELLED
equal "the one that was sent again ends well" "$(of "${tasks}_3" JobState) $(of "${tasks}_3" ExitCode) $(of "${tasks}_3" Restarts)" "COMPLETED 0:0 1"
equal "the fourth is not touched by it" "$(of "${tasks}_4" JobState) $(of "${tasks}_4" ExitCode)" "COMPLETED 0:0"
made=$(sed -n 's/^ *Maps written .*(made now \([0-9]*\), done before \([0-9]*\)).*/\1 \2/p' "$farm/slurm-$last.out")
[ "${made% *}" -ge 1 ] && [ "$((${made% *} + ${made#* }))" = "$fields" ]
check "the last job makes what they left" $? "made now, done before: $made, of $fields"
equal "and ends as one run by itself" "$(of "$last" ExitCode)" "$alone:0"
lost=$(comm -23 <(echo "$stored") <(find "$output/rows" -name '*.json' -printf '%f %T@\n' | sort))
equal "no finished field is lost or made twice" "$lost" ""
said=$(same_files "$scratch/expected" "$output")
check "all files are those of one run by itself" $? "$said"
echo "       killed, cancelled and sent again with $(wc -l <<< "$stored") of $fields rows stored; the last job made ${made% *}"

# One share by itself, and one too many.
again
only=$(cd "$farm" && sbatch --parsable --array=3 farm.sbatch)
wrong=$(cd "$farm" && sbatch --parsable --array=$((shares + 1)) farm.sbatch)
ended "$only" "$wrong"
equal "a share by itself ends well" "$(of "${only}_3" JobState) $(of "${only}_3" ExitCode)" "COMPLETED 0:0"
equal "and is the same share" "$(ls "$output/rows")" "$third"
equal "a share that does not exist is a failed task" "$(of "${wrong}_$((shares + 1))" JobState) $(of "${wrong}_$((shares + 1))" ExitCode)" "FAILED 2:0"

echo "       $version, one machine as one node of two processors"
