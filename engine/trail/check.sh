#!/bin/sh
# Checks every signature of trail.txt with grep, cut, sort and ssh-keygen alone.
# Each record's lines begin with its tag; all but its sig lines were signed.
cd "$(dirname "$0")" || exit 2
command -v ssh-keygen >/dev/null || { echo "ssh-keygen is not here: install OpenSSH"; exit 2; }
work=$(mktemp -d) || exit 2
trap 'rm -r "$work"' EXIT
good=0 bad=0
stray=$(grep -c -v -E '^[a-z2-7]{8} [a-z]' trail.txt)
[ "$stray" -eq 0 ] || { echo "$stray lines belong to no record"; bad=1; }
for tag in $(cut -d' ' -f1 trail.txt | sort -u); do
	grep "^$tag " trail.txt | grep -v "^$tag sig " >"$work/text"
	{
		echo "-----BEGIN SSH SIGNATURE-----"
		grep "^$tag sig " trail.txt | cut -d' ' -f3
		echo "-----END SSH SIGNATURE-----"
	} >"$work/sig"
	who=$(grep "^$tag by " "$work/text" | cut -d' ' -f3)
	if ssh-keygen -Y verify -f allowed_signers -I "$who" -n signoff@layette -s "$work/sig" <"$work/text" >"$work/said" 2>&1; then
		good=$((good + 1))
	else
		bad=$((bad + 1))
		echo "BAD $tag $who: $(cut -c1-200 "$work/said")"
	fi
done
echo "$good signatures hold, $bad do not."
echo "This proves who signed which lines. It does not prove that nothing is missing, that the"
echo "signers were entitled to sign, or when they signed: for that read report.txt, compare its"
echo "first lines with the seals on paper, or let the program check the whole trail."
[ "$bad" -eq 0 ]
