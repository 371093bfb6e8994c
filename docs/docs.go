// Package docs holds the pages of the manual that the command prints as well. All pages stand in
// this folder; words.md is the vocabulary that every other page keeps to.
package docs

import _ "embed" // for the text of a page

// Words is words.md: the words of the tables, reports and job files, one meaning each.
//
//go:embed words.md
var Words string
