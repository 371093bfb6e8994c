BYJH
ÞB>
ÞB>
ÞB>
ÞB>
ÞB>
ÞB>W3>W3>W3>W3>W3>W3>fUÇ=fUÇ=fUÇ=fUÇ=fUÇ=fUÇ=