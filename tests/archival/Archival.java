import java.io.FileInputStream;
import java.util.Map;
import java.util.TreeMap;
import org.verapdf.gf.foundry.VeraGreenfieldFoundryProvider;
import org.verapdf.pdfa.Foundries;
import org.verapdf.pdfa.PDFAParser;
import org.verapdf.pdfa.PDFAValidator;
import org.verapdf.pdfa.flavours.PDFAFlavour;
import org.verapdf.pdfa.results.TestAssertion;
import org.verapdf.pdfa.results.ValidationResult;

/**
 * Holds files against flavours of PDF/A and PDF/UA, with the validator that the class path gives.
 *
 * Arguments: a flavour, such as 3a, then a file, and so on. Prints for each pair, separated by
 * tabs, both, "yes", "no" or "none" (it cannot be read), and the clauses that the file breaks.
 */
public final class Archival {
    private Archival() {
    }

    public static void main(final String[] arguments) {
        VeraGreenfieldFoundryProvider.initialise();
        for (int index = 0; index < arguments.length; index += 2) {
            final PDFAFlavour flavour = PDFAFlavour.fromString(arguments[index]);
            final String file = arguments[index + 1];
            System.out.println(arguments[index] + "\t" + file + "\t" + outcome(file, flavour));
        }
    }

    private static String outcome(final String file, final PDFAFlavour flavour) {
        try (FileInputStream source = new FileInputStream(file);
                PDFAParser parser = Foundries.defaultInstance().createParser(source, flavour);
                PDFAValidator validator =
                        Foundries.defaultInstance().createValidator(flavour, false)) {
            final ValidationResult result = validator.validate(parser);
            return (result.isCompliant() ? "yes" : "no") + broken(result);
        } catch (Exception fault) {
            return "none\t" + fault;
        }
    }

    private static String broken(final ValidationResult result) {
        final Map<String, String> clauses = new TreeMap<>();
        for (final TestAssertion each : result.getTestAssertions()) {
            if (each.getStatus() == TestAssertion.Status.FAILED) {
                clauses.put(each.getRuleId().getClause(), each.getMessage());
            }
        }
        final StringBuilder told = new StringBuilder();
        clauses.forEach((clause, message) ->
                told.append('\t').append(clause).append(' ').append(message.replace('\n', ' ')));
        return told.toString();
    }
}
