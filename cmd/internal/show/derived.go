package show

import (
	"fmt"

	ampledgerv1 "github.com/ampledger/ampledger/proto/ampledger/v1"
)

// Derived writes a quantity that an estimator derived, with its unit unless it has none.
func Derived(v *ampledgerv1.DerivedValue) string {
	text := fmt.Sprintf("%s %.6g ± %.3g", v.GetName(), v.GetValue(), v.GetUncertaintyValue())
	if v.GetUnit() != "1" {
		text += " " + v.GetUnit()
	}
	return text
}
