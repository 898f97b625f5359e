package club

import (
	"encoding/json"
	"reflect"
	"slices"
	"testing"
)

// TestTheStructsAndTheSchemaHaveTheSameKeys holds written.go and
// club.schema.json together: a key in one only would be refused or ignored.
func TestTheStructsAndTheSchemaHaveTheSameKeys(t *testing.T) {
	pairs := map[string]any{
		"": clubWritten{}, "athletes": athletesWritten{}, "athlete": athleteWritten{},
		"membership": membershipWritten{}, "sensor": sensorWritten{}, "squad": squadWritten{},
		"folder": folderWritten{}, "protocol": protocolWritten{}, "stage": stageWritten{},
		"bout": boutWritten{}, "hrex": hrexWritten{}, "planned": plannedWritten{},
		"thresholds": thresholdsWritten{}, "privacy": privacyWritten{}, "chat": chatWritten{},
		"files": filesWritten{}, "rule": ruleWritten{}, "chat_user": chatUserWritten{}, "digest": digestWritten{}, "page": pageWritten{},
	}
	var root map[string]any
	if err := json.Unmarshal(JSONSchema, &root); err != nil {
		t.Fatal(err)
	}
	defs := root["$defs"].(map[string]any)
	objects := 1
	for name, def := range defs {
		if def.(map[string]any)["properties"] == nil {
			continue
		}
		objects++
		if _, ok := pairs[name]; !ok {
			t.Errorf("$defs/%s is an object that no struct stands for", name)
		}
	}
	if objects != len(pairs) {
		t.Errorf("%d objects in the schema, %d structs", objects, len(pairs))
	}
	for name, v := range pairs {
		def := root
		if name != "" {
			def = defs[name].(map[string]any)
		}
		if def["additionalProperties"] != false {
			t.Errorf("%q allows unknown keys", name)
		}
		var inSchema, inStruct []string
		for k := range def["properties"].(map[string]any) {
			inSchema = append(inSchema, k)
		}
		for f := range reflect.TypeOf(v).Fields() {
			if tag := f.Tag.Get("json"); tag != "" {
				inStruct = append(inStruct, tag)
			}
		}
		slices.Sort(inSchema)
		slices.Sort(inStruct)
		if !slices.Equal(inSchema, inStruct) {
			t.Errorf("%q: schema has %v, struct has %v", name, inSchema, inStruct)
		}
	}
}

func TestTheCSVHasTheColumnsOfAnAthlete(t *testing.T) {
	for f := range reflect.TypeFor[athleteWritten]().Fields() {
		if tag := f.Tag.Get("json"); tag != "squads" && !slices.Contains(csvColumns, tag) {
			t.Errorf("the key %s has no column", tag)
		}
	}
}
