# Prints every line of Go that is wider than 100 columns, tabs as 4, and fails if there is one.
# Not meant are generated files, //go: lines, web addresses, struct tags, lines of a raw string that
# goes over several lines, and lines that are nothing but string literals: to break those would
# hide what a fixture or an expected output looks like.
#
#	LC_ALL=C awk -f .ci/width.awk $(git ls-files '*.go')

# width counts characters of UTF-8: all bytes but those that continue a character.
function width(s) {
	gsub(/\t/, "    ", s)
	gsub(/[\200-\277]/, "", s)
	return length(s)
}

FNR == 1 { generated = 0; raw = 0 }
FNR <= 3 && /Code generated/ { generated = 1 }
{
	# code is the line with every string and character literal empty; raw says that a raw string
	# is open.
	code = ""; rest = $0; part = raw
	while (rest != "") {
		if (raw) {
			end = index(rest, "`")
			if (!end) break
			raw = 0; rest = substr(rest, end + 1)
		} else if (match(rest, /"([^"\\]|\\.)*"|'([^'\\]|\\.)+'|`|\/\/.*/)) {
			token = substr(rest, RSTART, RLENGTH)
			code = code substr(rest, 1, RSTART - 1) (token ~ /^\/\// ? token : "\"\"")
			rest = substr(rest, RSTART + RLENGTH); raw = token == "`"
		} else {
			code = code rest; rest = ""
		}
	}
	if (generated || part || raw || width($0) <= 100) next
	if (/^\/\/go:/ || /https?:\/\// || /`[a-z]+:"[^`]*`$/) next
	if (code !~ /[^][(){},;:+" \t]/) next
	print FILENAME ":" FNR ": wider than 100 columns"
	failed = 1
}
END { exit failed }
