package targets

import (
	"encoding"
	"errors"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"
	"time"

	"github.com/BurntSushi/toml"

	"kerf/fault"
)

// checker compares a decoded TOML file with the Go type that it is meant for.
type checker struct {
	root   reflect.Type // of the file
	first  *fault.Error // the first mistake in the file, without file and place
	offset int          // its place, in bytes
}

// Types that implement one of these interfaces read themselves.
var (
	selfReader = reflect.TypeFor[toml.Unmarshaler]()
	textReader = reflect.TypeFor[encoding.TextUnmarshaler]()
)

// report keeps a mistake unless one that stands before it in the file is known.
func (c *checker) report(offset int, hint, format string, args ...any) {
	if c.first == nil || offset < c.offset {
		text := fmt.Errorf(format, args...)
		c.first = &fault.Error{Msg: text.Error(), Hint: hint, Cause: errors.Unwrap(text)}
		c.offset = offset
	}
}

// checkInto checks a whole file against the type that into points to. It panics if into is no
// pointer.
func (c *checker) checkInto(into any, raw map[string]any, root *node) {
	t := reflect.TypeOf(into)
	if t == nil || t.Kind() != reflect.Pointer {
		panic(fmt.Sprintf("targets: cannot decode into %T, which is no pointer", into))
	}
	c.root = t.Elem()
	c.check(c.root, raw, root, "")
}

// check compares one value with its type. path names the value: dotted keys, without list
// positions.
func (c *checker) check(t reflect.Type, v any, n *node, path string) {
	for t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	switch {
	case reflect.PointerTo(t).Implements(selfReader):
		c.self(reflect.New(t).Interface().(toml.Unmarshaler).UnmarshalTOML(v), n, path)
		return
	case reflect.PointerTo(t).Implements(textReader):
		if text, ok := v.(string); ok {
			c.self(reflect.New(t).Interface().(encoding.TextUnmarshaler).UnmarshalText(
				[]byte(text)), n, path)
		} else {
			c.mismatch(n, path, "a text in quotes", v, "")
		}
		return
	}
	switch t.Kind() {
	case reflect.Interface:
	case reflect.Struct, reflect.Map:
		c.table(t, v, n, path)
	case reflect.Slice:
		c.list(t, v, n, path)
	default:
		c.scalar(t, v, n, path)
	}
}

// self reports err, unless it is nil: the error of a type that reads itself.
func (c *checker) self(err error, n *node, path string) {
	if err == nil {
		return
	}
	c.report(n.value, fault.Hint(err), "%s: %w", path, err)
}

// table checks a struct or map and everything in it.
func (c *checker) table(t reflect.Type, v any, n *node, path string) {
	table, ok := v.(map[string]any)
	if !ok {
		hint := ""
		if _, ok := v.([]map[string]any); ok {
			hint = fmt.Sprintf("write [%s], not [[%s]]", path, path)
		}
		c.mismatch(n, path, "a table", v, hint)
		return
	}
	fields := fieldTypes(t)
	for key, value := range table {
		child := n.children[key]
		kind, known := fields[key]
		if t.Kind() == reflect.Map {
			kind, known = t.Elem(), true
		}
		if !known {
			where := ""
			if path != "" {
				where = " in " + path
			}
			c.report(child.key, fault.DidYouMean(key, sortedKeys(fields))+c.elsewhere(key),
				"unknown key %q%s", key, where)
			continue
		}
		c.check(kind, value, child, strings.TrimPrefix(path+"."+key, "."))
	}
}

// elsewhere returns what a hint on an unknown key says of the one table of the file that has it;
// nothing where none has it, or several.
func (c *checker) elsewhere(key string) string {
	var tables []string
	for name, t := range fieldTypes(c.root) {
		for t.Kind() == reflect.Pointer {
			t = t.Elem()
		}
		if _, known := fieldTypes(t)[key]; known {
			tables = append(tables, name)
		}
	}
	if len(tables) != 1 {
		return ""
	}
	return fmt.Sprintf("; %s is a key of [%s]", key, tables[0])
}

// fieldTypes returns the TOML keys of a struct and the type of each; an empty map if t is no
// struct.
func fieldTypes(t reflect.Type) map[string]reflect.Type {
	fields := map[string]reflect.Type{}
	if t.Kind() != reflect.Struct {
		return fields
	}
	for _, f := range reflect.VisibleFields(t) {
		name, _, _ := strings.Cut(f.Tag.Get("toml"), ",")
		if !f.IsExported() || f.Anonymous || name == "-" {
			continue
		}
		if name == "" {
			name = f.Name
		}
		fields[name] = f.Type
	}
	return fields
}

// list checks every element of a list.
func (c *checker) list(t reflect.Type, v any, n *node, path string) {
	list := reflect.ValueOf(v)
	if list.Kind() != reflect.Slice {
		hint := ""
		if _, ok := v.(map[string]any); ok {
			hint = fmt.Sprintf("write [[%s]], not [%s]", path, path)
		}
		c.mismatch(n, path, "a list", v, hint)
		return
	}
	for i := range list.Len() {
		c.check(t.Elem(), list.Index(i).Interface(), n.elems[i], path)
	}
}

// scalar checks a value that must be neither table nor list.
func (c *checker) scalar(t reflect.Type, v any, n *node, path string) {
	var want string
	ok := false
	switch t.Kind() {
	case reflect.String:
		want = "a text in quotes"
		_, ok = v.(string)
	case reflect.Bool:
		want = "true or false"
		_, ok = v.(bool)
	case reflect.Int, reflect.Int64:
		want = "a whole number"
		var i int64
		if i, ok = v.(int64); ok && reflect.Zero(t).OverflowInt(i) {
			c.report(n.value, "", "%s: %d is too large", path, i)
		}
	case reflect.Float64:
		want = "a number"
		var i int64
		if i, ok = v.(int64); ok && (i > maxExactInt || i < -maxExactInt) {
			c.report(n.value, "write it with a decimal point", "%s: %d has too many digits", path,
				i)
		}
		if !ok {
			_, ok = v.(float64)
		}
	default:
		panic(fmt.Sprintf("targets: no TOML value fits type %s", t))
	}
	if !ok {
		c.mismatch(n, path, want, v, "")
	}
}

// maxExactInt bounds whole numbers that are read as float64: 2^53 - 1. float64 holds all whole
// numbers up to 2^53 (IEEE 754 binary64 has 53 significant bits), and the TOML library refuses 2^53
// itself.
const maxExactInt = 1<<53 - 1

// mismatch reports a value of the wrong kind.
func (c *checker) mismatch(n *node, path, want string, v any, hint string) {
	c.report(n.value, hint, "%s must be %s, not %s", path, want, kindOf(v))
}

// kindOf names the kind of a decoded TOML value in plain words.
func kindOf(v any) string {
	switch v := v.(type) {
	case string:
		return "a text"
	case bool:
		return fmt.Sprint(v)
	case int64:
		return "a whole number"
	case float64:
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return fmt.Sprint(v)
		}
		return "a number with a fraction"
	case time.Time:
		return "a date or time"
	case map[string]any:
		return "a table"
	}
	return "a list"
}

func sortedKeys[V any](m map[string]V) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}
