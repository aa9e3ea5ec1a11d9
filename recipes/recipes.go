// Package recipes holds the recipes that come with layette: a base with the
// studio's trades, materials and tolerances, each with where its number comes
// from, and a product line that extends it.
package recipes

import "embed"

// Files are the recipes, NAME.toml each.
//
//go:embed *.toml
var Files embed.FS
