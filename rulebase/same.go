package rulebase

import (
	"cmp"
	"fmt"
	"math"
	"reflect"
	"slices"
)

// FirstDifference compares what two rulebases say, field by field, wherever it
// stands in their files: the path of the first field that differs, "" where they say
// the same. The digest, which is over the files, counts for nothing.
func FirstDifference(a, b *Base) string {
	return firstDifference("", reflect.ValueOf(a), reflect.ValueOf(b))
}

var positionType = reflect.TypeFor[Position]()

func firstDifference(path string, a, b reflect.Value) string {
	switch a.Kind() {
	case reflect.Pointer:
		if a.IsNil() || b.IsNil() {
			return differsIf(path, a.IsNil() != b.IsNil())
		}
		return firstDifference(path, a.Elem(), b.Elem())
	case reflect.Slice:
		if a.Len() != b.Len() {
			return path
		}
		for i := range a.Len() {
			if at := firstDifference(fmt.Sprintf("%s[%d]", path, i), a.Index(i), b.Index(i)); at != "" {
				return at
			}
		}
	case reflect.Array:
		for i := range a.Len() {
			if at := firstDifference(fmt.Sprintf("%s[%d]", path, i), a.Index(i), b.Index(i)); at != "" {
				return at
			}
		}
	case reflect.Map:
		return differentMap(path, a, b)
	case reflect.Struct:
		return differentStruct(path, a, b)
	case reflect.Float64:
		x, y := a.Float(), b.Float()
		return differsIf(path, x != y && !(math.IsNaN(x) && math.IsNaN(y)))
	default:
		return differsIf(path, !a.Equal(b))
	}
	return ""
}

func differsIf(path string, differs bool) string {
	if differs {
		return path
	}
	return ""
}

func differentMap(path string, a, b reflect.Value) string {
	if a.Len() != b.Len() {
		return path
	}
	keys := a.MapKeys()
	slices.SortFunc(keys, func(x, y reflect.Value) int { return cmp.Compare(fmt.Sprint(x), fmt.Sprint(y)) })
	for _, k := range keys {
		if !b.MapIndex(k).IsValid() {
			return fmt.Sprintf("%s[%v]", path, k)
		}
		if at := firstDifference(fmt.Sprintf("%s[%v]", path, k), a.MapIndex(k), b.MapIndex(k)); at != "" {
			return at
		}
	}
	return ""
}

// notCompared are fields that say where and not what.
var notCompared = []string{"Digest", "Column"}

func differentStruct(path string, a, b reflect.Value) string {
	if a.Type() == positionType {
		return ""
	}
	for i := range a.NumField() {
		f := a.Type().Field(i)
		if !f.IsExported() || slices.Contains(notCompared, f.Name) {
			continue
		}
		if at := firstDifference(path+"."+f.Name, a.Field(i), b.Field(i)); at != "" {
			return at
		}
	}
	return ""
}
